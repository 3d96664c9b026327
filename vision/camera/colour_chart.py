"""Find a standard 24-patch colour chart in a photo, and say what each patch measures."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import CHART_COLUMNS, CHART_ROWS, chart_light
from vision.pixels import decode_srgb8, luminance

#: Longest side, px, of the pictures in which the library's finder is tried, and blurs against noise: it knows charts at
#: some sizes only, and one of these was right for all but 1 of 55 drawn ones, at eleven turns and five sizes.
_SIDES_PX = (700, 1000, 500, 850, 1400, 350)
_BLURS_PX = (0.0, 1.0)
#: A chart that the finder misses it mostly finds at a slightly other size.
_OTHER_SIZES = (1.0, 0.93, 1.08)
#: Wall put around the picture, as a share of its longest side, since a chart that fills the frame is not found.
_WALL, _WALL_LEVEL = 0.1, 128
#: The middle of a patch that is measured, as a share of its side.
_MIDDLE = 0.4
#: Correlation of what was found with the chart, in the logarithm of luminance; a chance find has less.
_ALIKE = 0.9
_PATCHES = CHART_ROWS * CHART_COLUMNS


@dataclass(frozen=True, eq=False)
class SeenChart:
    """A chart in a photo: linear light (24, 3) of its patches, 1.0 = full scale; their middles (row, column), px."""

    light: NDArray[np.float64]
    places: NDArray[np.float64]


def find_chart(rgb: NDArray[np.uint8]) -> SeenChart | None:
    """The chart in a photo (rows, columns, 3) at any turn, or None where none is found."""
    for small, scale, wall in _smaller(rgb):
        finder = cv2.mcc.CCheckerDetector.create()
        if not finder.process(np.ascontiguousarray(small[..., ::-1]), 1):
            continue
        found = np.array(finder.getListColorChecker()[0].getColorCharts(), np.float64).reshape(-1, 4, 2)
        corners = (found - wall) / scale
        if len(corners) == _PATCHES and (seen := _measured(rgb, corners)) is not None:
            return seen
    return None


def _smaller(rgb: NDArray[np.uint8]) -> Iterator[tuple[NDArray[np.uint8], float, int]]:
    """The picture in several sizes, each with its scale and the width of the wall around it, px."""
    longest = max(rgb.shape[:2])
    for factor, side in product(_OTHER_SIZES, _SIDES_PX):
        scale = factor * side / longest
        if scale > 3 or round(min(rgb.shape[:2]) * scale) < _PATCHES:
            continue
        small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        wall = round(_WALL * max(small.shape[:2]))
        walled = cv2.copyMakeBorder(small, *4 * (wall,), cv2.BORDER_CONSTANT, value=3 * (_WALL_LEVEL,))
        for sigma in _BLURS_PX:
            blurred = cv2.GaussianBlur(walled, (0, 0), sigma) if sigma else walled
            yield np.asarray(blurred, np.uint8), scale, wall


def _measured(rgb: NDArray[np.uint8], corners: NDArray[np.float64]) -> SeenChart | None:
    """The patches with these corners (24, 4, 2) as (column, row), or None where they do not look like the chart."""
    middles = corners.mean(axis=1)
    light = np.empty((_PATCHES, 3))
    for number, (patch, middle) in enumerate(zip(corners, middles, strict=True)):
        inner = middle + _MIDDLE * (patch - middle)
        low = np.floor(inner.min(axis=0)).astype(int)
        high = np.ceil(inner.max(axis=0)).astype(int) + 1
        if (low < 0).any() or (high > (rgb.shape[1], rgb.shape[0])).any():
            return None
        window = rgb[low[1] : high[1], low[0] : high[0]]
        inside = np.zeros(window.shape[:2], np.uint8)
        cv2.fillConvexPoly(inside, np.round(inner - low).astype(np.int32), 1)
        # The mean of light, not of levels: noise on a dark patch would bend the levels' mean.
        light[number] = decode_srgb8(window)[inside > 0].mean(axis=0)
    known = np.log(np.maximum(luminance(chart_light()), 1e-3))
    seen = np.log(np.maximum(luminance(light), 1e-3))
    if float(np.corrcoef(known, seen)[0, 1]) < _ALIKE:
        return None
    return SeenChart(light, middles[:, ::-1].copy())
