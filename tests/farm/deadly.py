"""Replacements for vision that kill their process on some photos, as lack of memory does, or wait."""

import os
import signal
import time
from dataclasses import replace

import numpy as np

from farm.measure import Vision
from tests.farm.painted import painted_vision, read_paint
from vision.records import MeasuredVessel, PhotoContext

#: A photo with this percent kills the process that reads it: always, or only the first time.
DEADLY_PERCENT = 66
SLOW_PERCENT, SLOW_SECONDS = 44, 0.5


def read_or_die(rgb: np.ndarray, context: PhotoContext) -> tuple[MeasuredVessel, ...]:
    """Die each time."""
    if DEADLY_PERCENT in rgb[:, 0, 1]:
        os.kill(os.getpid(), signal.SIGKILL)
    return read_paint(rgb, context)


def read_or_die_once(rgb: np.ndarray, context: PhotoContext) -> tuple[MeasuredVessel, ...]:
    """Die on a photo only if the mark of an earlier death does not exist."""
    mark = os.environ["SPAWNRUN_TEST_DEATH_MARK"]
    if DEADLY_PERCENT in rgb[:, 0, 1] and not os.path.exists(mark):  # noqa: PTH110
        open(mark, "w").close()  # noqa: PTH123
        os.kill(os.getpid(), signal.SIGKILL)
    return read_paint(rgb, context)


def read_slowly(rgb: np.ndarray, context: PhotoContext) -> tuple[MeasuredVessel, ...]:
    """Wait, so that a test can interrupt the worker."""
    if SLOW_PERCENT in rgb[:, 0, 1]:
        time.sleep(SLOW_SECONDS)
    return read_paint(rgb, context)


def deadly_vision() -> Vision:
    return replace(painted_vision(), measure_photo=read_or_die)


def once_deadly_vision() -> Vision:
    return replace(painted_vision(), measure_photo=read_or_die_once)


def slow_vision() -> Vision:
    return replace(painted_vision(), measure_photo=read_slowly)
