"""The fit of a camera to known patches: exposure, uneven light, tone and colour, from patch values alone.

All values are linear light. Known values: 1.0 = perfect matt white. Measured values: 1.0 = the camera's full scale.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calibration.colour_chart import NEUTRALS, colour_differences, luminance

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.floating[Any]]

#: A profile is used if it reduces the mean colour difference of patches it was NOT fitted to by this much, a just
#: noticeable difference.
_WORTHWHILE_DE = 1.0
#: A patch above this value is near clipping and is not used.
_CLIPPED = 0.97
_ROUNDS = 4


@dataclass(frozen=True)
class CameraProfile:
    """Correction of one camera's colours. camera: make and model as it writes them into its photos.

    matrix: rows and columns red, green, blue of linear light; its rows sum to 1, so that neutral stays neutral.
    shoulder: whether its highlights are bent (see vision's light), which is undone before the matrix.
    difference_before, difference_after: mean CIEDE2000 of the chart; after is of patches left out of the fit.
    """

    camera: str
    matrix: tuple[tuple[float, float, float], ...]
    shoulder: bool
    difference_before: float
    difference_after: float
    made_at: str = ""

    @property
    def helps(self) -> bool:
        """Whether it is worth using."""
        return self.difference_before - self.difference_after >= _WORTHWHILE_DE


@dataclass(frozen=True, eq=False)
class ColourFit:
    """Result of a fit to a chart. white: light (3,) of a perfect white in its middle; matrix (3, 3).

    light: (24,), light at each patch over that in the middle. balanced: (24, 3), patches as seen with exposure,
    balance and uneven light taken out. Differences: CIEDE2000 of each patch (24,), balanced, and after a matrix fitted
    without that patch.
    """

    white: "Array"
    matrix: "Array"
    light: "Array"
    balanced: "Array"
    differences_before: "Array"
    differences_after: "Array"


def fit_colours(seen: "Array", known: "Array", places: "Array") -> ColourFit:
    """Fit exposure, a plane of uneven light and a colour matrix to patches (N, 3) seen at places (N, 2).

    The matrix keeps neutral neutral (rows sum to 1), so six numbers are fitted; dark patches weigh about as much as
    light ones, as they do to the eye. Raises ValueError if too many patches are clipped.
    """
    import numpy as np

    usable = seen.max(axis=1) < _CLIPPED
    neutral = np.zeros(len(seen), bool)
    neutral[NEUTRALS] = True
    if usable.sum() < 18 or (usable & neutral).sum() < 4:
        raise ValueError("too many patches are clipped: expose less")
    middle = (places - places.mean(axis=0)) / np.maximum(np.ptp(places, axis=0), 1e-9)
    light: Array = np.ones(len(seen))
    for _ in range(_ROUNDS):
        white = _white(seen / light[:, None], known, usable & neutral)
        balanced = seen / light[:, None] / white
        matrix = _matrix(balanced[usable], known[usable])
        light = light * _plane(luminance(balanced @ matrix.T), luminance(known), middle, usable)
        light = light / np.exp(np.log(light).mean())
    white = _white(seen / light[:, None], known, usable & neutral)
    balanced = seen / light[:, None] / white
    after = np.empty(len(seen))
    for left_out in range(len(seen)):
        others = usable.copy()
        others[left_out] = False
        fitted = _matrix(balanced[others], known[others])
        after[left_out] = colour_differences(balanced[left_out] @ fitted.T, known[left_out])
    return ColourFit(white, _matrix(balanced[usable], known[usable]), light, balanced,
                     colour_differences(balanced, known), after)  # fmt: skip


def tone_errors(seen: "Array", known: "Array") -> "Array":
    """By what share each neutral patch is lighter (above 0) or darker than in linear light.

    seen, known: (N,), any exposure; the middle one of the errors is 0.
    """
    import numpy as np

    ratio = np.log(np.maximum(seen, 1e-5) / np.maximum(known, 1e-5))
    return np.asarray(np.exp(ratio - np.median(ratio)) - 1.0)


def _white(seen: "Array", known: "Array", which: "Array") -> "Array":
    import numpy as np

    return np.asarray(np.exp(np.median(np.log(np.maximum(seen[which], 1e-5) / known[which]), axis=0)))


def _matrix(seen: "Array", known: "Array") -> "Array":
    """The matrix, rows summing to 1, that brings seen to known with the least weighted square error."""
    import numpy as np

    # The eye's lightness goes about with the cube root of light, so an error counts by its share of light to the 2/3.
    weight = 1.0 / (np.maximum(luminance(known), 0.0) + 0.02) ** (2 / 3)
    sides = np.column_stack([seen[:, 0] - seen[:, 2], seen[:, 1] - seen[:, 2]]) * weight[:, None]
    wanted = (known - seen) * weight[:, None]
    red_green, *_ = np.linalg.lstsq(sides, wanted, rcond=None)
    change = np.column_stack([red_green.T, -red_green.sum(axis=0)])
    return np.asarray(np.eye(3) + change)


def _plane(seen: "Array", known: "Array", middle: "Array", which: "Array") -> "Array":
    """Light at each place over that in the middle: a plane in the logarithm, little moved by single patches."""
    import numpy as np

    ratio = np.log(np.maximum(seen, 1e-5) / np.maximum(known, 1e-5))
    design = np.column_stack([np.ones(len(seen)), middle])
    weight = which.astype(float)
    plane = np.zeros(3)
    for _ in range(_ROUNDS):
        plane, *_ = np.linalg.lstsq(design * weight[:, None], ratio * weight, rcond=None)
        off = np.abs(ratio - design @ plane)
        weight = which / np.maximum(1.0, off / (1.5 * np.median(off[which]) + 1e-6)) ** 0.5
    return np.asarray(np.exp(middle @ plane[1:]))
