"""Run a small network from its model file, read once, on one core."""

import os
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import onnxruntime


@cache
def _session(model_file: str) -> "onnxruntime.InferenceSession":
    # Read as it is loaded: it would keep a file about its use in the user's home, and has an address to send it to.
    os.environ["ORT_DISABLE_TELEMETRY"] = "1"
    import onnxruntime

    options = onnxruntime.SessionOptions()
    # One thread: photos run side by side. No memory kept between faces: they differ in size, and it would only grow.
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.enable_cpu_mem_arena = options.enable_mem_pattern = False
    model = (files("vision") / model_file).read_bytes()
    return onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])


def network_logits(
    model_file: str, planes: NDArray[np.float32], multiple: int, **more: NDArray[np.float32]
) -> NDArray[np.float32]:
    """What a network says of planes (P, h, w), at the scale at which it answers, (outputs, rows, columns).

    The planes are padded with zeros, right and below, to multiples of ``multiple``. more: its other inputs, by name.
    """
    count, height, width = planes.shape
    padded = np.zeros((1, count, height + -height % multiple, width + -width % multiple), np.float32)
    padded[0, :, :height, :width] = planes
    return np.asarray(_session(model_file).run(None, {"planes": padded, **more})[0][0], np.float32)
