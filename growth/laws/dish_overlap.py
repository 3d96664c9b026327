"""Area of a dish under a round colony that may lie off its centre."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Keeps divisions finite, also in single precision.
_TINY, _FAR = 1e-6, 1e6


def covered_fraction(radius: ArrayLike, offset: ArrayLike) -> NDArray[np.float64]:
    """Share (0-1) of a unit disc covered by a disc of ``radius`` whose centre lies ``offset`` away, both in dish radii.

    Area common to two circles (the sum of two circular segments); elementary geometry.
    """
    gap = np.clip(offset, _TINY, _FAR)
    size = np.clip(radius, _TINY, _FAR)
    near = np.clip((gap * gap + size * size - 1.0) / (2.0 * gap * size), -1.0, 1.0)
    far = np.clip((gap * gap + 1.0 - size * size) / (2.0 * gap), -1.0, 1.0)
    kite = 0.5 * np.sqrt(
        np.maximum((-gap + size + 1.0) * (gap + size - 1.0) * (gap - size + 1.0) * (gap + size + 1.0), 0.0)
    )
    lens = (size * size * np.arccos(near) + np.arccos(far) - kite) / np.pi
    inside = gap + size <= 1.0
    covers = size >= 1.0 + gap
    apart = gap >= 1.0 + size
    fraction = np.where(inside, np.minimum(size * size, 1.0), np.clip(lens, 0.0, 1.0))
    return np.where(covers, 1.0, np.where(apart, 0.0, fraction))
