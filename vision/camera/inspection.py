"""Measure a camera and its light from one photo of labels or of a colour chart. Numbers only; farm words them."""

from dataclasses import dataclass

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from calibration import CODE_MODULES, LABELS, READABLE_PX_PER_MODULE, LabelGeometry, Patch
from vision.camera.measure_chart import InspectedChart, find_chart
from vision.label import QR_CODES, Label, find_labels, grey_patches, settle_label, white_at_label
from vision.pixels import decode_srgb8, grey_of, luminance, undo_shoulder

#: Sharpness is measured on at most this many labels, evenly spaced in the order they were found.
_MAX_LABELS = 12
#: Part of a patch's edge that is used: reach to each side, and ends left out, as shares of its length.
_EDGE_REACH, _EDGE_ENDS = 0.45, 0.15
_MIN_PIXELS = 40
#: Scales at which a label is decoded again, to simulate a smaller or more distant label.
_SHARES = np.arange(0.95, 0.14, -0.05)
_QUIET_MODULES = 4


@dataclass(frozen=True, eq=False)
class InspectedLabel:
    """A label in the photo. middle: (row, column) as shares of the frame. blur_px: standard deviation, or None.

    width_mm: of the sticker, by the geometry assumed for it. white: scene light (3,) of a perfect white at it, or None.
    greys: measured light of its patches, without corrections, in the order of the geometry. smallest_share: smallest
    scale at which the same camera would still decode it at this place; 1.0 if only just at its present size.
    """

    text: str
    middle: tuple[float, float]
    width_mm: float
    px_per_mm: float
    blur_px: float | None
    white: NDArray[np.float64] | None
    greys: NDArray[np.float64]
    smallest_share: float | None


@dataclass(frozen=True, eq=False)
class CameraInspection:
    """Decoded labels, the number of labels found but not decoded, and the chart, if any."""

    labels: tuple[InspectedLabel, ...]
    n_unread: int
    chart: InspectedChart | None
    size_px: tuple[int, int]


def inspect_camera(
    rgb: NDArray[np.uint8], geometry_of: dict[str, LabelGeometry], *, other: LabelGeometry | None = None
) -> CameraInspection:
    """Find labels and chart in a photo (uint8 RGB, rows, columns, 3), and measure them.

    geometry_of: geometry of labels, by their text. other: geometry of all other labels; None means the normal label.
    """
    grey = grey_of(rgb)
    usual = other or LABELS["normal"]
    found = find_labels(grey)
    read = [label for label in found if label.text is not None]
    measured = set(np.linspace(0, len(read) - 1, min(_MAX_LABELS, len(read))).round().astype(int).tolist())
    light = luminance(decode_srgb8(rgb)) if read else None
    labels = tuple(
        _seen(rgb, grey, light if n in measured else None, label, geometry_of.get(label.text or "", usual))
        for n, label in enumerate(read)
    )
    return CameraInspection(labels, len(found) - len(read), find_chart(rgb), (rgb.shape[0], rgb.shape[1]))


def _seen(
    rgb: NDArray[np.uint8],
    grey: NDArray[np.uint8],
    light: NDArray[np.floating] | None,
    label: Label,
    geometry: LabelGeometry,
) -> InspectedLabel:
    """Measure one label; without sharpness if ``light`` is None."""
    label = settle_label(grey, label, geometry)
    blur = _blur_px(light, label, geometry) if light is not None else None
    column, row = label.centre
    return InspectedLabel(
        text=label.text or "",
        middle=(float(row / grey.shape[0]), float(column / grey.shape[1])),
        width_mm=geometry.width_mm,
        px_per_mm=label.px_per_mm(geometry),
        blur_px=blur,
        white=white_at_label(rgb, label, geometry),
        greys=_greys(rgb, label, geometry),
        smallest_share=None if blur is None else _smallest_share(grey, label, blur),
    )


def _greys(rgb: NDArray[np.uint8], label: Label, geometry: LabelGeometry) -> NDArray[np.float64]:
    """Luminance of the patches, 1.0 = full scale."""
    squares = grey_patches(rgb, label, geometry)
    return np.array([float(np.median(luminance(decode_srgb8(square)))) for square in squares])


def _around(label: Label, shape: tuple[int, ...]) -> tuple[slice, slice]:
    """Rows and columns of the photo around the code with its quiet zone."""
    reach = _QUIET_MODULES * label.code_side_px / CODE_MODULES
    low = np.maximum(np.floor(label.code.min(axis=0) - reach), 0).astype(int)
    high = np.minimum(np.ceil(label.code.max(axis=0) + reach), (shape[1], shape[0])).astype(int)
    return slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))


def _blur_px(light: NDArray[np.floating], label: Label, geometry: LabelGeometry) -> float | None:
    """Standard deviation, photo px, of the camera's blur, from edges of the patches against the white sticker.

    Vertical and horizontal edges are measured separately and the larger blur is returned, because motion blur affects
    only one of them. None if no edge can be fitted.
    """
    left = min(patch.left_mm for patch in geometry.patches)
    low = max(patch.top_mm for patch in geometry.patches)
    upright = [_edge_blur_px(light, label, geometry, one, 0) for one in geometry.patches if one.left_mm == left]
    level = [_edge_blur_px(light, label, geometry, one, 1) for one in geometry.patches if one.top_mm == low]
    told = [[one for one in some if one is not None] for some in (upright, level)]
    return max((float(np.median(some)) for some in told if some), default=None)


def _edge_blur_px(
    light: NDArray[np.floating], label: Label, geometry: LabelGeometry, patch: Patch, axis: int
) -> float | None:
    """Blur of the left (axis 0) or lower (axis 1) edge of a patch.

    A step blurred by a Gaussian is fitted to the photo's pixels at their distances from the edge. Position and slope of
    the edge are free, so the label's pose need not be exact.
    """
    side = patch.side_mm
    start = np.array([patch.left_mm, patch.top_mm if axis == 0 else patch.top_mm + side])
    reach, ends = _EDGE_REACH * side, _EDGE_ENDS * side
    box = np.array([[-reach, 0], [reach, 0], [reach, side], [-reach, side]])
    corners_mm = start + (box if axis == 0 else box[:, ::-1])
    to_photo = label.to_photo(geometry)
    corners = cv2.perspectiveTransform(corners_mm[None], to_photo)[0]
    low = np.maximum(np.floor(corners.min(axis=0)), 0).astype(int)
    high = np.minimum(np.ceil(corners.max(axis=0)), (light.shape[1], light.shape[0])).astype(int)
    columns, rows = np.meshgrid(np.arange(low[0], high[0]), np.arange(low[1], high[1]))
    if columns.size == 0:
        return None
    # The label's pose uses coordinates from the outer corner of the pixels.
    middles = np.stack([columns + 0.5, rows + 0.5], axis=-1).reshape(-1, 1, 2).astype(np.float64)
    on_label = cv2.perspectiveTransform(middles, np.linalg.inv(to_photo))[:, 0, :] - start
    across, along = on_label[:, axis], on_label[:, 1 - axis]
    used = (np.abs(across) < reach) & (along > ends) & (along < side - ends)
    levels = light[rows.ravel()[used], columns.ravel()[used]].astype(np.float64)
    px_per_mm = label.px_per_mm(geometry)
    return _fitted_blur(across[used] * px_per_mm, along[used] * px_per_mm, levels)


def _fitted_blur(across: NDArray[np.float64], along: NDArray[np.float64], levels: NDArray[np.float64]) -> float | None:
    """Standard deviation of the blurred step that best fits the levels across an edge; None if the fit fails."""
    from scipy.optimize import least_squares
    from scipy.special import ndtr

    if len(levels) < _MIN_PIXELS:
        return None

    def misfit(step: NDArray[np.float64]) -> NDArray[np.float64]:
        before, after, place, turn, sigma = step
        blurred = ndtr((across - place - turn * along) / max(abs(sigma), 1e-3))
        return np.asarray(before + (after - before) * blurred - levels)

    before, after = (levels[side].mean() for side in (across < 0, across > 0))
    fitted = least_squares(misfit, (before, after, 0.0, 0.0, 1.0), max_nfev=200).x
    lies, sigma = abs(float(fitted[2])), abs(float(fitted[4]))
    return sigma if max(sigma, lies) < float(np.ptp(across)) / 3 else None


def _smallest_share(grey: NDArray[np.uint8], label: Label, blur_px: float) -> float:
    """The smallest scale at which the label still decodes with the camera's blur and noise.

    The picture is scaled down, and the blur and noise that scaling removes are added again.
    """
    rows, columns = _around(label, grey.shape)
    seen = grey[rows, columns].astype(np.float32)
    rng = np.random.default_rng(0)
    noise = float(np.median(np.abs(seen - cv2.medianBlur(grey[rows, columns], 3)))) / 0.6745
    smallest = 1.0
    for share in _SHARES:
        lost = float(np.sqrt(1 - share**2))
        small = cv2.resize(seen, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
        small = cv2.GaussianBlur(small, (0, 0), max(0.05, blur_px * lost)) + rng.normal(
            0, noise * lost + 1e-6, small.shape
        )
        again = np.clip(small, 0, 255).astype(np.uint8)
        wider = cv2.copyMakeBorder(again, 12, 12, 12, 12, cv2.BORDER_REPLICATE)
        double = cv2.resize(wider, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
        hits = [hit for view in (wider, double) for hit in zxingcpp.read_barcodes(view, formats=QR_CODES)]
        if label.text not in {hit.text for hit in hits}:
            break
        smallest = float(share)
    # One trial may be lucky; below this limit creased, tilted or veiled labels are lost.
    safe = READABLE_PX_PER_MODULE * CODE_MODULES / label.code_side_px
    return round(min(1.0, max(smallest, safe)), 2)


def undo_highlight_shoulder(light: NDArray[np.floating]) -> NDArray[np.float64]:
    """Scene light from measured light: the usual highlight shoulder undone."""
    return np.asarray(undo_shoulder(light), np.float64)
