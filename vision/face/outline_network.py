"""Input and output of the network that marks the points of a vessel's frame that lie on its face."""

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels import network_logits

MODEL_FILE = "face/outliner.onnx"
#: Geometric mean of the usual face's width and height, in pixels of the network's input.
USUAL_PX = 112.0
#: The network downsamples by two five times, so the sides of its input must be multiples of this.
SIDE_MULTIPLE = 32
PLANES = 7
#: Floor added to light before its logarithm, and the usual logarithm, which is subtracted.
_DARK, _USUAL_LOG_LIGHT = 0.02, -1.2
#: Limit of the log odds from one photo.
_MAX_LOG_ODDS = 5.0
#: left, top, right, bottom, in pixels of the input planes.
Sides = tuple[float, float, float, float]


def outline_planes(
    light_twice: NDArray[np.float32], label: NDArray[np.float32], seen: NDArray[np.float32], usual: Sides
) -> NDArray[np.float32]:
    """The network's input planes, float32 (``PLANES``, h, w).

    light_twice: linear light at twice the scale of the planes, (2 h, 2 w, 3). label, seen: share (h, w), 0-1, of each
    pixel that is label, and that lies in the photo. usual: usual position of the face.
    """
    rows, columns = label.shape
    stack = np.empty((PLANES, rows, columns), np.float32)
    light = stack[:3]
    light[:] = cv2.split(cv2.resize(light_twice, (columns, rows), interpolation=cv2.INTER_AREA))
    grey = cv2.extractChannel(light_twice, 1)
    square = cv2.resize(grey * grey, (columns, rows), interpolation=cv2.INTER_AREA)
    variance = np.maximum(square - light[1] ** 2, 0)
    stack[3] = np.sqrt(variance) / (light[1] + np.float32(_DARK)) * seen
    logs = np.asarray(cv2.log(np.maximum(light, np.float32(0)) + np.float32(_DARK)), np.float32)
    light[:] = (logs - np.float32(_USUAL_LOG_LIGHT)) * seen
    stack[4], stack[5] = label, seen
    stack[6] = usual_distance((rows, columns), usual)
    return stack


@lru_cache(maxsize=8)
def usual_distance(shape: tuple[int, int], usual: Sides) -> NDArray[np.float32]:
    """Signed distance of each pixel (rows, columns) to the usual face's box, in units of its size; positive inside."""
    left, top, right, bottom = usual
    rows, columns = np.arange(shape[0], dtype=np.float32)[:, None] + 0.5, np.arange(shape[1], dtype=np.float32) + 0.5
    across, down = np.minimum(columns - left, right - columns), np.minimum(rows - top, bottom - rows)
    within = np.minimum(across, down)
    beyond = np.hypot(np.minimum(across, 0), np.minimum(down, 0))
    return np.asarray(np.where(within >= 0, within, -beyond) / np.float32(USUAL_PX), np.float32)


def outline_logits(planes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Log odds (h, w) that each pixel of the planes lies on the face, clipped to ``_MAX_LOG_ODDS``."""
    answer = network_logits(MODEL_FILE, planes, SIDE_MULTIPLE)[0]
    # The network answers at half the scale of its input.
    rows, columns = planes.shape[1:]
    large = cv2.resize(answer, (2 * answer.shape[1], 2 * answer.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(np.clip(large[:rows, :columns], -_MAX_LOG_ODDS, _MAX_LOG_ODDS), np.float32)
