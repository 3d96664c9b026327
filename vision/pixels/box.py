"""The bounding box of a mask, to work on no more than the part of a picture that matters."""

import numpy as np
from numpy.typing import NDArray


def box_of(mask: NDArray[np.bool_], margin: int = 0) -> tuple[slice, slice]:
    """Rows and columns of a mask's bounding box, wider by a margin (px) on each side; one pixel if it is empty."""
    if not mask.any():
        return slice(0, 1), slice(0, 1)
    return _span(np.flatnonzero(mask.any(axis=1)), margin), _span(np.flatnonzero(mask.any(axis=0)), margin)


def _span(places: NDArray[np.intp], margin: int) -> slice:
    return slice(max(0, int(places[0]) - margin), int(places[-1]) + 1 + margin)
