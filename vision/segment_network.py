"""Run the segmenter's network: a small model file, read once, evaluated by OpenCV on the CPU."""

from functools import cache
from importlib.resources import files
from threading import Lock

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.segment_input import SIDE_MULTIPLE

MODEL_FILE = "segmenter.onnx"
#: Order of the network's output planes: three classes that exclude each other, then two that stand alone.
BARE, COLONISED, CONTAMINATED, COLOURED, VEILED = range(5)

#: Probability at which a point is taken for colonised: where, on scenes the network had not seen, the error was least.
EVEN_PROBABILITY = 0.46

_ONE_AT_A_TIME = Lock()


@cache
def _network() -> cv2.dnn.Net:
    model = np.frombuffer((files("vision") / MODEL_FILE).read_bytes(), np.uint8)
    return cv2.dnn.readNetFromONNX(model)


def run_network(stack: NDArray[np.float32], facts: NDArray[np.float32]) -> NDArray[np.float32]:
    """Probabilities (5, h, w), 0-1, in the order of this module's constants, of planes (P, h, w) and facts (F,).

    The network answers at half the planes' scale; the answer is brought back to theirs by linear interpolation.
    """
    height, width = stack.shape[1:]
    padded = np.pad(stack, ((0, 0), (0, -height % SIDE_MULTIPLE), (0, -width % SIDE_MULTIPLE)))
    with _ONE_AT_A_TIME:
        network = _network()
        network.setInput(padded[None], "planes")
        network.setInput(facts.reshape(1, -1, 1, 1), "facts")
        logits = network.forward()[0]
    small = np.concatenate([_softmax(logits[:COLOURED]), 1 / (1 + np.exp(-logits[COLOURED:]))])
    full = padded.shape[:0:-1]
    planes = [cv2.resize(plane, full, interpolation=cv2.INTER_LINEAR)[:height, :width] for plane in small]
    return np.stack(planes).astype(np.float32)


def decided(colonised: NDArray[np.float32]) -> NDArray[np.float32]:
    """Probabilities (any shape) moved along their odds so that ``EVEN_PROBABILITY`` becomes one half."""
    against = (1 - colonised) * np.float32(EVEN_PROBABILITY / (1 - EVEN_PROBABILITY))
    return np.asarray(colonised / (colonised + against), np.float32)


def _softmax(logits: NDArray[np.float32]) -> NDArray[np.float32]:
    powers = np.exp(logits - logits.max(axis=0))
    return np.asarray(powers / powers.sum(axis=0), np.float32)
