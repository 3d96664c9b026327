"""Find a standard 24-patch colour chart in a photo, and measure its patches."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import CHART_COLUMNS, CHART_ROWS, chart_light
from vision.pixels import decode_srgb8, luminance

#: Sizes (longest side, px) and blurs with which OpenCV's chart detector is tried. It finds charts at some sizes only;
#: one of these worked for all but 1 of 55 drawn charts, at eleven rotations and five sizes.
_SIDES_PX = (700, 1000, 500, 850, 1400, 350)
_BLURS_PX = (0.0, 1.0)
#: A chart that the detector misses is mostly found at a slightly different size.
_OTHER_SIZES = (1.0, 0.93, 1.08)
#: Border added around the picture, as a share of its longest side: a chart that fills the frame is not found.
_BORDER, _BORDER_LEVEL = 0.1, 128
#: Central part of a patch that is measured, as a share of its side.
_MIDDLE = 0.4
#: Least correlation of log luminance with the chart; false detections have less.
_MIN_CORRELATION = 0.9
_PATCHES = CHART_ROWS * CHART_COLUMNS


@dataclass(frozen=True, eq=False)
class InspectedChart:
    """A chart in a photo. light: linear (24, 3), 1.0 = full scale. places: centres of patches (row, column), px."""

    light: NDArray[np.float64]
    places: NDArray[np.float64]


def find_chart(rgb: NDArray[np.uint8]) -> InspectedChart | None:
    """The chart in a photo (rows, columns, 3), in any rotation, or None."""
    for small, scale, border in _smaller(rgb):
        finder = cv2.mcc.CCheckerDetector.create()
        if not finder.process(np.ascontiguousarray(small[..., ::-1]), 1):
            continue
        found = np.array(finder.getListColorChecker()[0].getColorCharts(), np.float64).reshape(-1, 4, 2)
        corners = (found - border) / scale
        if len(corners) == _PATCHES and (seen := _measured(rgb, corners)) is not None:
            return seen
    return None


def _smaller(rgb: NDArray[np.uint8]) -> Iterator[tuple[NDArray[np.uint8], float, int]]:
    """The picture in several sizes, each with its scale and the width of its border, px."""
    longest = max(rgb.shape[:2])
    for factor, side in product(_OTHER_SIZES, _SIDES_PX):
        scale = factor * side / longest
        if scale > 3 or round(min(rgb.shape[:2]) * scale) < _PATCHES:
            continue
        small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        border = round(_BORDER * max(small.shape[:2]))
        padded = cv2.copyMakeBorder(small, *4 * (border,), cv2.BORDER_CONSTANT, value=3 * (_BORDER_LEVEL,))
        for sigma in _BLURS_PX:
            blurred = cv2.GaussianBlur(padded, (0, 0), sigma) if sigma else padded
            yield np.asarray(blurred, np.uint8), scale, border


def _measured(rgb: NDArray[np.uint8], corners: NDArray[np.float64]) -> InspectedChart | None:
    """The patches with these corners (24, 4, 2) as (column, row), or None if they do not look like the chart."""
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
        # The mean of light, not of levels, because noise on a dark patch would bias the mean of levels.
        light[number] = decode_srgb8(window)[inside > 0].mean(axis=0)
    known = np.log(np.maximum(luminance(chart_light()), 1e-3))
    seen = np.log(np.maximum(luminance(light), 1e-3))
    if float(np.corrcoef(known, seen)[0, 1]) < _MIN_CORRELATION:
        return None
    return InspectedChart(light, middles[:, ::-1].copy())
