"""What a vessel's bare substrate looks like, learned from its first photo."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Added to linear light before its logarithm is taken, so that black pixels keep a finite one.
DARK_FLOOR = 0.004
#: Fewer pixels than this say nothing about a surface.
MIN_PIXELS = 200
#: More pixels than this say nothing further about its quantiles.
ENOUGH_PIXELS = 20_000

Triple = tuple[float, float, float]


@dataclass(frozen=True)
class Baseline:
    """Colour of one vessel's bare substrate.

    log_rgb: typical natural logarithm of linear red, green and blue (1.0 = matt white, when referenced).
    spread: standard deviation of the same from point to point, robust.
    referenced: whether the colours come from a label; guessed colours compare badly between photos.
    """

    log_rgb: Triple
    spread: Triple
    referenced: bool


def log_light(linear_rgb: NDArray[np.float32]) -> NDArray[np.float32]:
    """Natural logarithm of linear light, finite for black; negative light counts as none. Same shape as the input."""
    return np.log(np.maximum(linear_rgb, 0.0) + np.float32(DARK_FLOOR)).astype(np.float32)


def learn_baseline(
    linear_rgb: NDArray[np.float32], inside: NDArray[np.bool_], *, referenced: bool = True
) -> Baseline | None:
    """Learn the look of bare substrate from a face that has no, or hardly any, mycelium.

    ``linear_rgb`` is (H, W, 3) linear light; ``inside`` is True on substrate that is to be learned from (leave out
    label, glare and what is already colonised). Returns None where too little is left to learn from.
    Medians are used, so that spawn grains, remaining reflections and first specks of growth do not shift it.
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
    """Three numbers, rounded as they are kept."""
    red, green, blue = (round(float(v), 4) for v in values)
    return red, green, blue
