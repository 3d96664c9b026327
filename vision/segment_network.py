"""Run the segmenter's network: a small model file, read once, evaluated on the CPU."""

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import cv2
import numpy as np
import onnxruntime
from numpy.typing import NDArray

from vision.segment_input import SIDE_MULTIPLE

MODEL_FILE = "segmenter.onnx"
#: Order of the network's output planes: three classes that exclude each other, then two that stand alone.
BARE, COLONISED, CONTAMINATED, COLOURED, VEILED = range(5)

#: Probability at which a point is taken for colonised: where, on scenes the network had not seen, the error was least.
EVEN_PROBABILITY = 0.46


@cache
def _network() -> "onnxruntime.InferenceSession":
    options = onnxruntime.SessionOptions()
    # One thread: photos run side by side. No memory kept between faces: they differ in size, and it would only grow.
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.enable_cpu_mem_arena = options.enable_mem_pattern = False
    model = (files("vision") / MODEL_FILE).read_bytes()
    return onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])


@dataclass(frozen=True, eq=False)
class Probabilities:
    """What the network says of each point, float32 (h, w), 0-1 at the planes' scale."""

    colonised: NDArray[np.float32]
    coloured: NDArray[np.float32]
    veiled: NDArray[np.float32]


def run_network(stack: NDArray[np.float32], facts: NDArray[np.float32]) -> Probabilities:
    """Probabilities of planes (P, h, w) and facts (F,).

    The network answers at half the planes' scale; the answer is brought back to theirs by linear interpolation.
    """
    count, height, width = stack.shape
    padded = np.zeros((1, count, height + -height % SIDE_MULTIPLE, width + -width % SIDE_MULTIPLE), np.float32)
    padded[0, :, :height, :width] = stack
    logits = _network().run(None, {"planes": padded, "facts": facts.reshape(1, -1, 1, 1)})[0][0]
    powers = np.exp(logits[:COLOURED] - logits[:COLOURED].max(axis=0))
    small = (powers[COLONISED] / powers.sum(axis=0), *(1 / (1 + np.exp(-logits[[COLOURED, VEILED]]))))
    full = padded.shape[:1:-1]
    large = (cv2.resize(plane, full, interpolation=cv2.INTER_LINEAR)[:height, :width] for plane in small)
    return Probabilities(*(np.asarray(plane, np.float32) for plane in large))


def decided(colonised: NDArray[np.float32]) -> NDArray[np.float32]:
    """Probabilities (any shape) moved along their odds so that ``EVEN_PROBABILITY`` becomes one half."""
    against = (1 - colonised) * np.float32(EVEN_PROBABILITY / (1 - EVEN_PROBABILITY))
    return np.asarray(colonised / (colonised + against), np.float32)
