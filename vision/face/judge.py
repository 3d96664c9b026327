"""Whether a face can be measured: exposure and sharpness, judged on the face itself."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels import box_of, encode_srgb8

#: Limits for the light of a perfect white, 1.0 = the camera's full scale. Below: too dark to measure, or dim. Above:
#: blown out, or overexposed.
_DARK_WHITE, _DIM_WHITE = 0.06, 0.15
_BLOWN_OUT_WHITE, _OVEREXPOSED_WHITE = 5.0, 2.2
#: A face is blown out if more than this share is clipped: in all channels or, without a label, in at least one.
_CLIPPED_LEVEL = 251
_BLOWN_OUT_SHARE = 0.5
#: Limits for the width of the sharpest edges of the outline, mm: too blurred to measure, or soft. A colonised point is
#: defined over a window of 3 mm: blur of half that is harmless, blur of twice that is not.
_BLURRED_MM, _SOFT_MM = 3.4, 2.2
_PROFILE_MM, _ASIDE_MM = 16.0, 9.0
#: So much of the picture around an outline is looked at: its profiles, and what the blur takes from beside them.
_AROUND_MM = _PROFILE_MM + 4.0
_MIN_EDGES = 8
#: In a whole picture: an edge is a step of at least so many levels over so many pixels; labels cannot be read if the
#: sharpest edges (this quantile of their widths) are wider than this. A module of a label is about 3 px wide.
_CLEAR_STEP, _STEP_PX, _SHARPEST, _BLURRED_PX = 40, 25, 0.02, 4.5


def picture_fault(grey: NDArray[np.uint8]) -> str:
    """What keeps a picture (H, W), 8-bit grey, from showing a readable label: darkness, clipping or blur; else ""."""
    bright = float(np.quantile(grey[::4, ::4], 0.995))
    if bright < encode_srgb8(np.full((1, 1), _DARK_WHITE, np.float32))[0, 0]:
        return "the picture is far too dark; add light or expose longer"
    if float((grey[::4, ::4] >= _CLIPPED_LEVEL).mean()) > _BLOWN_OUT_SHARE:
        return "the picture is blown out; expose less or turn the flash off"
    width_px = sharpest_edges_px(grey)
    if width_px is not None and width_px > _BLURRED_PX:
        return "the picture is too blurred; hold the camera still and focus on the labels"
    return ""


def sharpest_edges_px(grey: NDArray[np.uint8]) -> float | None:
    """Width of the sharpest edges in a picture (H, W), px: step of brightness by steepest slope; None without edges."""
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.0)
    square = np.ones((_STEP_PX, _STEP_PX), np.uint8)
    step = cv2.subtract(cv2.dilate(smooth, square), cv2.erode(smooth, square))
    across = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125)
    slope = cv2.magnitude(across, down)
    # At the middle of an edge, where its slope is steepest, the square holds the whole step.
    clear = (step >= _CLEAR_STEP) & (slope >= cv2.dilate(slope, square))
    if np.count_nonzero(clear) < _MIN_EDGES:
        return None
    return float(np.quantile(step[clear] / np.maximum(slope[clear], 0.1), _SHARPEST))


def judge_light(
    rgb: NDArray[np.uint8], inside: NDArray[np.bool_], white: NDArray[np.float64], *, labelled: bool
) -> tuple[str, tuple[str, ...]]:
    """Reason why a face (as photographed, 8-bit) cannot be measured in this light ("" if it can), and flags.

    white: light (3,) of a perfect matt white, 1.0 = full scale; from the label, or an estimate if not ``labelled``.
    """
    if not inside.any():
        return "retake: no face in the picture", ()
    level = float(white.max())
    if level < _DARK_WHITE:
        return "retake: far too dark; add light or expose longer", ()
    if level > _BLOWN_OUT_WHITE or _mostly_clipped(rgb, inside, labelled=labelled):
        return "retake: blown out; expose less or turn the flash off", ()
    if level < _DIM_WHITE:
        return "", ("dim",)
    return "", ("overexposed",) if level > _OVEREXPOSED_WHITE else ()


def _mostly_clipped(rgb: NDArray[np.uint8], inside: NDArray[np.bool_], *, labelled: bool) -> bool:
    part = box_of(inside)
    # Every other row and column; OpenCV is quicker on whole rows than numpy is with taking columns of three out.
    rows, where = rgb[part][::2], inside[part][::2, ::2]
    if labelled:
        return _share(cv2.inRange(rows, (_CLIPPED_LEVEL,) * 3, (255,) * 3)[:, ::2] > 0, where) > _BLOWN_OUT_SHARE
    whole = cv2.inRange(rows, (0,) * 3, (_CLIPPED_LEVEL - 1,) * 3)[:, ::2] > 0
    return 1.0 - _share(whole, where) > _BLOWN_OUT_SHARE


def _share(mask: NDArray[np.bool_], where: NDArray[np.bool_]) -> float:
    """Share of ``where``, 0-1, in which a mask is True."""
    return int(np.count_nonzero(mask & where)) / max(1, int(np.count_nonzero(where)))


def judge_sharpness(
    rgb: NDArray[np.uint8], outline: NDArray[np.bool_], px_per_mm: float
) -> tuple[str, tuple[str, ...]]:
    """Reason why a face is too blurred to be measured ("" if it is not), and flags."""
    width_mm = edge_width_mm(rgb, outline, px_per_mm)
    if width_mm is not None and width_mm > _BLURRED_MM:
        return "retake: too blurred; hold the camera still and focus on the vessel", ()
    return "", ("soft",) if width_mm is not None and width_mm > _SOFT_MM else ()


def edge_width_mm(rgb: NDArray[np.uint8], outline: NDArray[np.bool_], px_per_mm: float) -> float | None:
    """Width of the sharpest tenth of the outline's edges, mm, or None if the outline has no clear edge.

    The width of an edge is its step divided by its steepest slope. Vertical and horizontal edges are measured
    separately and the wider is returned, because motion blur affects only one of them.
    """
    if not outline.any():
        return None
    part = box_of(outline, round(_AROUND_MM * px_per_mm))
    grey = cv2.GaussianBlur(cv2.cvtColor(rgb[part], cv2.COLOR_RGB2GRAY), (0, 0), 0.5 * px_per_mm).astype(np.float32)
    contours, _ = cv2.findContours(outline[part].astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    curve = max(contours, key=len)[:, 0, :].astype(np.float32)
    curve = curve[:: max(1, len(curve) // 300)]
    tangent = np.roll(curve, -3, axis=0) - np.roll(curve, 3, axis=0)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) / (np.linalg.norm(tangent, axis=1, keepdims=True) + 1e-9)
    offsets = (np.arange(-_PROFILE_MM, _PROFILE_MM, 1.0 / px_per_mm) * px_per_mm).astype(np.float32)
    columns, rows = (curve[:, i, None] + offsets * normal[:, i, None] for i in (0, 1))
    sampled = cv2.remap(grey, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    profile = np.asarray(sampled, np.float32)
    slope = np.abs(np.diff(profile, axis=1))
    steepest = slope.max(axis=1)
    step = _step_at(profile, slope.argmax(axis=1), px_per_mm)
    clear = step > 25
    upright = np.abs(normal[:, 0]) > np.abs(normal[:, 1])
    widths = [
        float(np.quantile(step[which] / steepest[which], 0.1) / px_per_mm)
        for which in (clear & upright, clear & ~upright)
        if which.sum() >= _MIN_EDGES
    ]
    return max(widths) if widths else None


def _step_at(profile: NDArray[np.float32], place: NDArray[np.intp], px_per_mm: float) -> NDArray[np.float32]:
    """Difference of level ``_ASIDE_MM`` before and after the steepest point of each profile."""
    aside = round(_ASIDE_MM * px_per_mm)
    rows = np.arange(len(profile))
    before = profile[rows, np.maximum(place - aside, 0)]
    after = profile[rows, np.minimum(place + aside, profile.shape[1] - 1)]
    return np.asarray(np.abs(after - before), np.float32)
