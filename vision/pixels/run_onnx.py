"""Run a small neural network on one core. Its model file is read once."""

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
    # The library reads this while it loads. Without it, it writes usage data to the user's home and could send them.
    os.environ["ORT_DISABLE_TELEMETRY"] = "1"
    import onnxruntime

    options = onnxruntime.SessionOptions()
    # One thread: photos run in parallel. No memory arena: faces differ in size, so it would only grow.
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.enable_cpu_mem_arena = options.enable_mem_pattern = False
    model = (files("vision") / model_file).read_bytes()
    return onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])


def network_logits(
    model_file: str, planes: NDArray[np.float32], multiple: int, **more: NDArray[np.float32]
) -> NDArray[np.float32]:
    """The network's output (outputs, rows, columns), at its own scale, for input planes (P, h, w).

    The planes are zero-padded, right and below, to multiples of ``multiple``. more: the other inputs, by name.
    """
    count, height, width = planes.shape
    padded = np.empty((1, count, height + -height % multiple, width + -width % multiple), np.float32)
    padded[0, :, :height, :width] = planes
    padded[0, :, height:] = padded[0, :, :height, width:] = 0
    return np.asarray(_session(model_file).run(None, {"planes": padded, **more})[0][0], np.float32)
