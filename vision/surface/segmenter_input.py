"""What the segmenter's network is shown of a face: a small stack of planes and a few facts about the whole."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.surface.bare_substrate import DARK_FLOOR, Baseline, log_light

#: Scale of the planes, px per mm. A colonised point is defined over 3 mm; nothing finer has to be told apart.
INPUT_PX_PER_MM = 1.5
#: The network halves its planes five times, so their sides are multiples of this.
SIDE_MULTIPLE = 32
#: Mean of the logarithm of a usual face's light; taken away so that planes lie about zero.
USUAL_LOG_LIGHT = -1.5
PLANES = 8
FACTS = 16
#: Light to which the brightest tenth of a face without a label is brought (90 % quantile of green; 1.0 is matt white).
UNLABELLED_BRIGHT = 0.6


@dataclass(frozen=True, eq=False)
class FacePlanes:
    """A face at ``INPUT_PX_PER_MM``.

    logs: (h, w, 3) logarithm of linear light less ``USUAL_LOG_LIGHT``, 0 outside; detail: (h, w) contrast finer than
    a pixel of these planes; within: (h, w) share of each pixel that lies inside the face.
    """

    logs: NDArray[np.float32]
    detail: NDArray[np.float32]
    within: NDArray[np.float32]


def face_planes(linear_rgb: NDArray[np.float32], inside: NDArray[np.bool_], px_per_mm: float) -> FacePlanes:
    """Reduce a face (H, W, 3) of linear light to the network's scale, counting only what lies inside."""
    height, width = inside.shape
    factor = INPUT_PX_PER_MM / px_per_mm
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    masked = cv2.copyTo(linear_rgb, inside.view(np.uint8))
    within = np.asarray(cv2.resize(inside.astype(np.float32), size, interpolation=cv2.INTER_AREA), np.float32)
    known = np.maximum(within, np.float32(1e-3))
    # Channel by channel, and multiplied by what is seen: arrays of pixels of three, and np.where, are slow.
    channels = cv2.split(cv2.resize(masked, size, interpolation=cv2.INTER_AREA))
    light = [np.asarray(channel / known, np.float32) for channel in channels]
    fine = cv2.resize(cv2.extractChannel(masked, 1), (2 * size[0], 2 * size[1]), interpolation=cv2.INTER_AREA)
    square = cv2.resize(fine * fine, size, interpolation=cv2.INTER_AREA) / known
    variance = np.maximum(square - light[1] * light[1], 0)
    seen = (within > 0.5).astype(np.float32)
    detail = np.sqrt(variance) / (light[1] + np.float32(0.01)) * seen
    logs = [(log_light(channel) - np.float32(USUAL_LOG_LIGHT)) * seen for channel in light]
    return FacePlanes(np.asarray(cv2.merge(logs), np.float32), detail, np.asarray(within * seen, np.float32))


def in_one_exposure(planes: FacePlanes) -> FacePlanes:
    """The planes of a face without a label as if the camera had always chosen the same exposure."""
    green = planes.logs[..., 1][planes.within > 0]
    if green.size == 0:
        return planes
    bright = float(np.exp(np.quantile(green, 0.9) + USUAL_LOG_LIGHT)) - DARK_FLOOR
    gain = UNLABELLED_BRIGHT / max(bright, 1e-3)
    light = (np.exp(planes.logs + np.float32(USUAL_LOG_LIGHT)) - np.float32(DARK_FLOOR)) * np.float32(gain)
    seen = planes.within[..., None] > 0
    logs = np.where(seen, log_light(light) - np.float32(USUAL_LOG_LIGHT), np.float32(0))
    return replace(planes, logs=np.asarray(logs, np.float32))


def face_facts(planes: FacePlanes, *, plate: bool, baseline: Baseline | None, referenced: bool) -> NDArray[np.float32]:
    """What holds for the whole face, (``FACTS``,): quantiles of its light, its bare substrate, how it was taken."""
    seen = np.flatnonzero(planes.within > 0)
    chosen = planes.logs.reshape(-1, 3)[seen[:: max(1, len(seen) // 5000)]]
    pixels = chosen if len(seen) else np.zeros((1, 3), np.float32)
    quantiles = _quantiles(np.ascontiguousarray(pixels.T), (0.1, 0.5, 0.9))
    bare = np.array(baseline.log_rgb) - USUAL_LOG_LIGHT if baseline else np.zeros(3)
    spread = float(np.mean(baseline.spread)) if baseline else 0.0
    flags = (float(baseline is not None), float(referenced), float(plate))
    return np.concatenate([quantiles.ravel(), bare, [spread], flags]).astype(np.float32)


def _quantiles(rows: NDArray[np.float32], shares: tuple[float, ...]) -> NDArray[np.float32]:
    """Quantiles (shares, rows) of each row, as ``np.quantile`` interpolates them, in a fifth of its time."""
    ordered = np.sort(rows, axis=1)
    at = np.array(shares) * (rows.shape[1] - 1)
    low = at.astype(int)
    high = np.minimum(low + 1, rows.shape[1] - 1)
    return np.asarray(ordered[:, low] + (ordered[:, high] - ordered[:, low]) * (at - low), np.float32).T


def stack_planes(planes: FacePlanes, baseline: Baseline | None) -> NDArray[np.float32]:
    """Stack the planes (``PLANES``, h, w): light, detail, what is inside, and light relative to the bare substrate."""
    stack = np.zeros((PLANES, *planes.within.shape), np.float32)
    stack[:3] = cv2.split(planes.logs)
    stack[3], stack[4] = planes.detail, planes.within
    if baseline is not None:
        bare = np.array(baseline.log_rgb, np.float32) - np.float32(USUAL_LOG_LIGHT)
        stack[5:] = (stack[:3] - bare[:, None, None]) * (planes.within > 0)
    return stack


def pad_planes(stack: NDArray[np.float32]) -> NDArray[np.float32]:
    """Pad planes (P, h, w) with zeros, right and below, to sides that are multiples of ``SIDE_MULTIPLE``."""
    height, width = stack.shape[1:]
    return np.pad(stack, ((0, 0), (0, -height % SIDE_MULTIPLE), (0, -width % SIDE_MULTIPLE)))
