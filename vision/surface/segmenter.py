"""Run the segmentation network and convert its output to probabilities."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels import network_logits
from vision.surface.segmenter_input import SIDE_MULTIPLE

MODEL_FILE = "surface/segmenter.onnx"
#: Order of the network's output planes: three mutually exclusive classes, then three independent ones.
BARE, COLONISED, CONTAMINATED, COLOURED, VEILED, DOUBT = range(6)

#: Beyond this a logit says nothing more, and its exponential stays within what single precision holds.
_MOST_LOGIT = 40.0


@dataclass(frozen=True, eq=False)
class Probabilities:
    """Probabilities of each point, float32 (h, w), 0-1, at the scale of the input planes.

    contaminated: that something other than mycelium grows there, of any look. coloured: that it shows a colour of
    neither substrate nor mycelium. doubt: by how much a network would be wrong there that learned from another maker's
    pictures only.
    """

    colonised: NDArray[np.float32]
    contaminated: NDArray[np.float32]
    coloured: NDArray[np.float32]
    veiled: NDArray[np.float32]
    doubt: NDArray[np.float32]


def run_network(stack: NDArray[np.float32], facts: NDArray[np.float32]) -> Probabilities:
    """Probabilities for input planes (P, h, w) and facts (F,)."""
    answer = network_logits(MODEL_FILE, stack, SIDE_MULTIPLE, facts=facts.reshape(1, -1, 1, 1))
    # The output is at half the input scale, with four values per class: one for each of the 2 x 2 input pixels.
    # First odds, by OpenCV in a fifth of numpy's time, then probabilities.
    odds = cv2.exp(np.clip(answer, -_MOST_LOGIT, _MOST_LOGIT))
    found = np.asarray(odds, np.float32).reshape(-1, 4, *answer.shape[1:])
    found[:COLOURED] /= found[BARE] + found[COLONISED] + found[CONTAMINATED]
    found[COLOURED:] /= 1 + found[COLOURED:]
    return Probabilities(*interleave(found[COLONISED:])[:, : stack.shape[1], : stack.shape[2]])


def interleave(fours: NDArray[np.float32]) -> NDArray[np.float32]:
    """Planes (n, 2 h, 2 w) from (n, 4, h, w): of the upper left, upper right, lower left and lower right points."""
    count, _, rows, columns = fours.shape
    planes = np.empty((count * rows, 2, 2 * columns), np.float32)
    for down in range(2):
        pair = [fours[:, 2 * down + right].reshape(-1, columns) for right in range(2)]
        cv2.merge(pair, planes[:, down].reshape(-1, columns, 2))
    return planes.reshape(count, 2 * rows, 2 * columns)
