"""Run the segmentation network and convert its output to probabilities."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels import network_logits
from vision.surface.segmenter_input import SIDE_MULTIPLE

MODEL_FILE = "surface/segmenter.onnx"
#: Order of the network's output planes: three mutually exclusive classes, then two independent ones.
BARE, COLONISED, CONTAMINATED, COLOURED, VEILED = range(5)

#: Probability from which a point counts as colonised: the value with the smallest total error over scenes that the
#: network was trained on and scenes that it was not.
COLONISED_THRESHOLD = 0.53


@dataclass(frozen=True, eq=False)
class Probabilities:
    """Probabilities of each point, float32 (h, w), 0-1, at the scale of the input planes."""

    colonised: NDArray[np.float32]
    coloured: NDArray[np.float32]
    veiled: NDArray[np.float32]


def run_network(stack: NDArray[np.float32], facts: NDArray[np.float32]) -> Probabilities:
    """Probabilities for input planes (P, h, w) and facts (F,)."""
    answer = network_logits(MODEL_FILE, stack, SIDE_MULTIPLE, facts=facts.reshape(1, -1, 1, 1))
    # The output is at half the input scale, with four values per class: one for each of the 2 x 2 input pixels.
    logits = answer.reshape(-1, 4, *answer.shape[1:])
    with np.errstate(over="ignore"):  # an overflow gives a probability of 0, which is right
        against = np.exp(logits[BARE] - logits[COLONISED]) + np.exp(logits[CONTAMINATED] - logits[COLONISED])
        found = 1 / (1 + against), 1 / (1 + np.exp(-logits[COLOURED])), 1 / (1 + np.exp(-logits[VEILED]))
    return Probabilities(*(interleave(four)[: stack.shape[1], : stack.shape[2]] for four in found))


def interleave(four: NDArray[np.float32]) -> NDArray[np.float32]:
    """One plane (2 h, 2 w) from planes (4, h, w) of upper left, upper right, lower left and lower right points."""
    _, rows, columns = four.shape
    upper, lower = (cv2.merge([*pair]).reshape(rows, 1, 2 * columns) for pair in (four[:2], four[2:]))
    return np.concatenate([upper, lower], axis=1).reshape(2 * rows, 2 * columns)


def decided(colonised: NDArray[np.float32]) -> NDArray[np.float32]:
    """Probabilities (any shape) with their odds scaled so that ``COLONISED_THRESHOLD`` maps to one half."""
    against = (1 - colonised) * np.float32(COLONISED_THRESHOLD / (1 - COLONISED_THRESHOLD))
    return np.asarray(colonised / (colonised + against), np.float32)
