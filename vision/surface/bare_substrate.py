"""The colour of a vessel's bare substrate, learned from its first photo."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

#: Added to linear light before taking the logarithm, so that it is finite for black pixels.
DARK_FLOOR = 0.004
#: A baseline needs at least this many pixels.
MIN_PIXELS = 200
#: Larger samples are thinned to about this many pixels.
ENOUGH_PIXELS = 20_000

Triple = tuple[float, float, float]


@dataclass(frozen=True)
class Baseline:
    """Colour of one vessel's bare substrate.

    log_rgb: median natural logarithm of linear red, green and blue (1.0 = matt white, when referenced).
    spread: robust standard deviation of the same over the surface.
    referenced: whether a label gave the white point; without one, colours are not comparable between photos.
    """

    log_rgb: Triple
    spread: Triple
    referenced: bool


def log_light(linear_rgb: NDArray[np.float32]) -> NDArray[np.float32]:
    """Natural logarithm of linear light plus ``DARK_FLOOR``; negative light counts as 0. Same shape as the input."""
    # OpenCV's logarithm takes a fifth of the time of numpy's.
    return np.asarray(cv2.log(np.maximum(linear_rgb, np.float32(0)) + np.float32(DARK_FLOOR)), np.float32)


def learn_baseline(
    linear_rgb: NDArray[np.float32], inside: NDArray[np.bool_], *, referenced: bool = True
) -> Baseline | None:
    """Learn the colour of bare substrate from a face with no, or hardly any, mycelium.

    ``linear_rgb``: (H, W, 3) linear light. ``inside``: True on the substrate to learn from (without label, glare and
    colonised points). Returns None if fewer than ``MIN_PIXELS`` remain. Medians are used, so spawn grains, reflections
    and first specks of growth do not shift the result.
    """
    pixels = linear_rgb[inside]
    if len(pixels) < MIN_PIXELS:
        return None
    pixels = pixels[:: max(1, len(pixels) // ENOUGH_PIXELS)]
    logs = log_light(pixels)
    centre = np.median(logs, axis=0)
    low, high = np.quantile(logs, (0.16, 0.84), axis=0)
    spread = np.maximum((high - low) / 2, 0.02)
    return Baseline(as_triple(centre), as_triple(spread), referenced)


def as_triple(values: NDArray[np.floating]) -> Triple:
    """Three numbers, rounded to four decimals."""
    red, green, blue = (round(float(v), 4) for v in values)
    return red, green, blue
