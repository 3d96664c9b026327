"""What the segmenter's network says of each point of a face."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels import network_logits
from vision.surface.network_input import SIDE_MULTIPLE

MODEL_FILE = "surface/segmenter.onnx"
#: Order of the network's output planes: three classes that exclude each other, then two that stand alone.
BARE, COLONISED, CONTAMINATED, COLOURED, VEILED = range(5)

#: Probability at which a point is taken for colonised: where the errors on scenes that the network has seen and on
#: scenes that it has not, taken together, were least.
EVEN_PROBABILITY = 0.53


@dataclass(frozen=True, eq=False)
class Probabilities:
    """What the network says of each point, float32 (h, w), 0-1 at the planes' scale."""

    colonised: NDArray[np.float32]
    coloured: NDArray[np.float32]
    veiled: NDArray[np.float32]


def run_network(stack: NDArray[np.float32], facts: NDArray[np.float32]) -> Probabilities:
    """Probabilities of planes (P, h, w) and facts (F,)."""
    answer = network_logits(MODEL_FILE, stack, SIDE_MULTIPLE, facts=facts.reshape(1, -1, 1, 1))
    # At half the planes' scale: of each output plane what it says of the four points of a pixel.
    logits = answer.reshape(-1, 4, *answer.shape[1:])
    with np.errstate(over="ignore"):  # a power without bound is odds of nought
        against = np.exp(logits[BARE] - logits[COLONISED]) + np.exp(logits[CONTAMINATED] - logits[COLONISED])
        found = 1 / (1 + against), 1 / (1 + np.exp(-logits[COLOURED])), 1 / (1 + np.exp(-logits[VEILED]))
    return Probabilities(*(side_by_side(four)[: stack.shape[1], : stack.shape[2]] for four in found))


def side_by_side(four: NDArray[np.float32]) -> NDArray[np.float32]:
    """Planes (4, h, w) of left upper, right upper, left lower and right lower points as one of (2 h, 2 w)."""
    _, rows, columns = four.shape
    upper, lower = (cv2.merge([*pair]).reshape(rows, 1, 2 * columns) for pair in (four[:2], four[2:]))
    return np.concatenate([upper, lower], axis=1).reshape(2 * rows, 2 * columns)


def decided(colonised: NDArray[np.float32]) -> NDArray[np.float32]:
    """Probabilities (any shape) moved along their odds so that ``EVEN_PROBABILITY`` becomes one half."""
    against = (1 - colonised) * np.float32(EVEN_PROBABILITY / (1 - EVEN_PROBABILITY))
    return np.asarray(colonised / (colonised + against), np.float32)
