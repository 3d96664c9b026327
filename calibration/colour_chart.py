"""The standard 24-patch colour chart: what its patches are, and colours as linear light and as CIE Lab.

The values are the chart maker's published CIE Lab figures (illuminant D50, 2 degree observer), of charts made since
November 2014 and before; they are quoted alike in several public repositories, and the older ones agree with
colour-science 0.4.7 (BSD-3-Clause) to 0.02.
"""

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Edition = Literal["since_2014", "before_2014"]
#: Rows and columns of the chart, held with the neutrals in the last row, white at the left.
CHART_ROWS, CHART_COLUMNS = 4, 6
#: Patches 19 to 24, white to black, counted from 0.
NEUTRALS = slice(18, 24)

#: White points, XYZ (ASTM E308, 2 degree observer).
_D50 = (0.96422, 1.0, 0.82521)
_D65 = (0.95047, 1.0, 1.08883)
#: Linear sRGB to XYZ, D65 (IEC 61966-2-1).
_RGB_TO_XYZ = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
#: The Bradford cone matrix (CIE 160:2004; from memory, checked by tests against published sRGB values).
_BRADFORD = ((0.8951, 0.2664, -0.1614), (-0.7502, 1.7135, 0.0367), (0.0389, -0.0685, 1.0296))
#: Constants of CIE Lab (CIE 15): 216/24389 and 24389/27.
_EPSILON, _KAPPA = 216 / 24389, 24389 / 27


@dataclass(frozen=True)
class ChartPatch:
    """A patch of the chart. lab: CIE Lab, D50."""

    name: str
    lab: tuple[float, float, float]


@cache
def chart_patches(edition: Edition = "since_2014") -> tuple[ChartPatch, ...]:
    """The 24 patches in order, row by row from dark skin to black, from ``colour_chart.csv``."""
    table = (files("calibration") / "colour_chart.csv").read_text("utf-8")
    rows = list(csv.DictReader(table.splitlines()))
    return tuple(
        ChartPatch(row["name"], (float(row[f"l_{edition}"]), float(row[f"a_{edition}"]), float(row[f"b_{edition}"])))
        for row in rows
    )


def chart_light(edition: Edition = "since_2014") -> "NDArray[np.float64]":
    """Linear light of the patches as sRGB primaries, (24, 3), 1.0 = perfect matt white; adapted from D50 to D65.

    Cyan lies outside of what sRGB can show: its red is a little below 0.
    """
    import numpy as np

    lab = np.array([patch.lab for patch in chart_patches(edition)])
    f_y = (lab[:, 0] + 16) / 116
    f = np.column_stack([f_y + lab[:, 1] / 500, f_y, f_y - lab[:, 2] / 200])
    xyz = np.where(f**3 > _EPSILON, f**3, (116 * f - 16) / _KAPPA) * np.array(_D50)
    bradford = np.array(_BRADFORD)
    cones = np.diag((bradford @ _D65) / (bradford @ _D50))
    adapt = np.linalg.inv(bradford) @ cones @ bradford
    return np.asarray(xyz @ adapt.T @ np.linalg.inv(np.array(_RGB_TO_XYZ)).T, np.float64)


def lab_of_light(light: "NDArray[np.floating[Any]]") -> "NDArray[np.float64]":
    """CIE Lab, D65, of linear light (..., 3) as sRGB primaries, 1.0 = perfect matt white; below 0 counts as 0."""
    import numpy as np

    xyz = np.maximum(np.asarray(light, np.float64) @ np.array(_RGB_TO_XYZ).T, 0.0) / np.array(_D65)
    f = np.where(xyz > _EPSILON, np.cbrt(xyz), (_KAPPA * xyz + 16) / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def luminance(light: "NDArray[np.floating[Any]]") -> "NDArray[np.float64]":
    """Relative luminance (...,) of linear light (..., 3) as sRGB primaries."""
    import numpy as np

    return np.asarray(light @ np.array(_RGB_TO_XYZ[1]), np.float64)


def colour_differences(light: "NDArray[np.floating[Any]]", other: "NDArray[np.floating[Any]]") -> "NDArray[np.float64]":
    """CIEDE2000 of each pair of linear lights (..., 3); about 1 is just noticeable side by side."""
    import numpy as np
    from skimage.color import deltaE_ciede2000

    difference: Any = deltaE_ciede2000  # the library says no types
    return np.asarray(difference(lab_of_light(light), lab_of_light(other)), np.float64)
