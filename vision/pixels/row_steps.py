"""A change of level that begins at one block of a JPEG and goes on to its end, as damage leaves it.

A JPEG holds its blocks row by row, each with its mean level as a difference from the block before (ITU-T T.81,
F.1.2.1). One changed bit in such a difference makes all that follows brighter, darker or of another colour, and the
decoder notices nothing. In the picture this is a step of the same size along the whole width: along the upper edge of
one row of blocks from some column on, and along its lower edge before that column. Edges in a scene do not lie so.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

#: Rows that are looked at, counted from the first below an edge between rows of blocks. Colours are held at half the
#: size, so their step is spread over the rows -1 and 0.
_ROWS = (-5, -2, -1, 0, 1, 4)
#: Luminance and the two colour differences of RGB (ITU-T T.871).
_TO_YCC = np.array([[0.299, 0.587, 0.114], [-0.1687, -0.3313, 0.5], [0.5, -0.4187, -0.0813]], np.float32)
#: Steps count up to so many levels: a step that is cut off at black or white is as good as a whole one.
_MOST_LEVELS = 8.0
_LEAST_LEVELS = 3.0
#: A step must be so many times as large as its standard error (of undamaged photos: benchmarks/RESULTS.md).
_LEAST_SCORE = 25.0
#: The same within this share of the width from a side, where damage looks nearly as a straight edge in a scene does.
_NEAR_SIDE, _LEAST_SCORE_NEAR_SIDE = 0.1, 40.0
_LEAST_VARIANCE = 0.1
#: The other parts of the two edges have at most this share of the step; its own two parts differ by no more.
_STILL, _ALIKE = 0.3, 0.35
#: The same holds near the column where the step changes rows, in so many columns of blocks on either side: the step has
#: at least this share, the rest at most that. Right of it, some blocks may be spoilt. Three of four parts are known.
_BESIDE, _LEAST_BESIDE, _LEAST_PARTS = 8, 4, 3
_SPOILT = (0, 4, 8)
_STEPPED_BESIDE, _STILL_BESIDE = 0.6, 0.35
#: So many columns of blocks, and this share of them, must be known.
_LEAST_COLUMNS, _LEAST_SHARE = 12, 0.3
#: Two edges whose steps add up to less than so many levels for each column are not looked at further.
_LEAST_TOTAL = 1.0
#: Where both sides of an edge are below or above these levels, nothing is known of a step.
_BLACK, _WHITE = 4.0, 251.0


def has_row_step(rgb: NDArray[np.uint8], block_height: int, block_width: int) -> bool:
    """Whether the level of a decoded JPEG changes at one of its blocks for all that follows.

    rgb: (rows, columns, 3), as it lies in the file. Height and width of a block: in pixels, of the group of blocks that
    is coded together (MCU). False for pictures of less than 12 such blocks in width or 3 in height, and for blocks of
    less than 6 pixels.
    """
    if block_height <= -min(_ROWS) or block_width < 1:
        return False
    n_columns, n_rows = rgb.shape[1] // block_width, (rgb.shape[0] - max(_ROWS)) // block_height
    if n_columns < _LEAST_COLUMNS or n_rows < 3:
        return False
    steps, is_known = _steps(rgb, block_height, block_width)
    steps = np.clip(steps, -_MOST_LEVELS, _MOST_LEVELS) * is_known[..., None]
    totals = np.ones(n_columns, np.float32) @ steps
    upper = np.nonzero((np.abs(totals[:-1] + totals[1:]) > _LEAST_TOTAL * n_columns).any(axis=1))[0]
    at = np.arange(n_columns + 1) / n_columns
    least = np.where(np.minimum(at, 1 - at) < _NEAR_SIDE, _LEAST_SCORE_NEAR_SIDE, _LEAST_SCORE)
    return bool((_scores(steps, is_known, upper) > least[:, None]).any())


def _steps(
    rgb: NDArray[np.uint8], block_height: int, block_width: int
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Steps of luminance and colours (edges, columns of blocks, 3), less the change beside them; which are known."""
    n_columns = rgb.shape[1] // block_width
    n_edges = len(range(block_height, rgb.shape[0] - max(_ROWS), block_height))
    means = {}
    for row in _ROWS:
        lines = rgb[block_height + row :: block_height, : n_columns * block_width][:n_edges]
        means[row] = cv2.resize(lines, (n_columns, n_edges), interpolation=cv2.INTER_AREA).astype(np.float32)
    above, below = means[-1] @ _TO_YCC[0], means[0] @ _TO_YCC[0]
    is_known = (np.maximum(above, below) > _BLACK) & (np.minimum(above, below) < _WHITE)
    light = 1.5 * (below - above) - 0.5 * ((means[1] - means[-2]) @ _TO_YCC[0])
    colour = 1.5 * (means[1] - means[-2]) - 0.5 * (means[4] - means[-5])
    return np.concatenate([light[..., None], colour @ _TO_YCC[1:].T], axis=2), is_known


def _scores(steps: NDArray[np.float32], is_known: NDArray[np.bool_], upper: NDArray[np.intp]) -> NDArray[np.float64]:
    """Mean step by its standard error (edges, columns, 3); 0 where the shape is not that of damage.

    upper: which edges are taken, each with the one below it.
    """
    values, squares = (_Pairs(some, upper) for some in (steps, steps * steps))
    counts = _Pairs(is_known[..., None].astype(np.float32), upper)
    n = np.maximum(counts.stepped_left + counts.stepped_right, 1)
    mean = (values.stepped_left + values.stepped_right) / n
    size = np.abs(mean)
    spread = np.sqrt(np.maximum((squares.stepped_left + squares.stepped_right) / n - mean**2, _LEAST_VARIANCE))
    still = (values.still_left + values.still_right) / np.maximum(counts.still_left + counts.still_right, 1)
    enough = max(_LEAST_COLUMNS, _LEAST_SHARE * is_known.shape[1])
    is_such = (n >= enough) & (size > _LEAST_LEVELS) & (np.abs(still) < _STILL * size)
    for part, count in ((values.stepped_left, counts.stepped_left), (values.stepped_right, counts.stepped_right)):
        known = np.maximum(count, 1)
        is_such &= np.abs(part / known - mean) <= _ALIKE * size + 3 * spread / np.sqrt(known)
    if is_such.any():
        is_such &= np.any([_is_such_beside(values, counts, mean, spoilt) for spoilt in _SPOILT], axis=0)
    return np.where(is_such, size / (spread / np.sqrt(n)), 0.0)


def _is_such_beside(values: "_Pairs", counts: "_Pairs", mean: NDArray[np.float64], spoilt: int) -> NDArray[np.bool_]:
    """Whether the step changes rows at once: what holds of the whole width holds beside the column too."""
    size = np.abs(mean)
    is_such = np.ones(mean.shape, bool)
    n_known = np.zeros(mean.shape, int)
    for place, (value, count) in enumerate(zip(values.beside(spoilt), counts.beside(spoilt), strict=True)):
        share = value / np.maximum(count, 1) * np.sign(mean)
        is_known = count >= _LEAST_BESIDE
        is_so = share > _STEPPED_BESIDE * size if place < 2 else np.abs(share) < _STILL_BESIDE * size
        is_such &= is_so | ~is_known
        n_known += is_known
    return np.asarray(is_such & (n_known >= _LEAST_PARTS))


class _Pairs:
    """Sums over parts of two neighbouring edges, for each column where a step may change rows.

    With a step: the lower edge left of the column, the upper one right of it. Still: the others.
    """

    def __init__(self, values: NDArray[np.float32], upper: NDArray[np.intp]) -> None:
        self._upper, self._lower = _up_to(values[upper]), _up_to(values[upper + 1])
        self.stepped_left, self.still_left = self._lower, self._upper
        self.stepped_right = self._upper[:, -1:] - self._upper
        self.still_right = self._lower[:, -1:] - self._lower

    def beside(self, spoilt: int) -> tuple[NDArray[np.float64], ...]:
        """With a step left and right, still left and right, in the columns next to each."""
        last = self._upper.shape[1] - 1
        at = np.arange(last + 1)
        before = np.maximum(at - _BESIDE, 0)
        begin, end = (np.minimum(at + some, last) for some in (spoilt, spoilt + _BESIDE))
        return (
            self._lower - self._lower[:, before],
            self._upper[:, end] - self._upper[:, begin],
            self._upper - self._upper[:, before],
            self._lower[:, end] - self._lower[:, begin],
        )


def _up_to(values: NDArray[np.float32]) -> NDArray[np.float64]:
    """Sums along the second axis, of nothing first."""
    zero = np.zeros((values.shape[0], 1, values.shape[2]))
    return np.concatenate([zero, np.cumsum(values, axis=1, dtype=np.float64)], axis=1)
