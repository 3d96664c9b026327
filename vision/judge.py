"""Can this picture of a face bear a number? Light and sharpness, judged on the face itself."""

import cv2
import numpy as np
from numpy.typing import NDArray

#: 8-bit levels: a face whose median is below is lost in noise; pixels above are taken for clipped.
_DARK_LEVEL, _CLIPPED_LEVEL = 14, 251
_DIM_LEVEL = 32
#: Share of the face's pixels that are clipped: above, the picture is blown out or overexposed.
_BLOWN_OUT_SHARE, _OVEREXPOSED_SHARE = 0.6, 0.25
#: Width of the sharpest edges of the outline, mm: above, the picture is too blurred or soft.
#: Half of the 3 mm window over which a colonised point is defined blurs nothing away; twice the window does.
_BLURRED_MM, _SOFT_MM = 7.0, 4.0
_PROFILE_MM = 12.0


def judge_light(rgb: NDArray[np.uint8], inside: NDArray[np.bool_]) -> tuple[str, tuple[str, ...]]:
    """Reason why the light of a face (as photographed, 8-bit) bears no number ("" if it does), and flags."""
    levels = rgb[inside].max(axis=1)
    if levels.size == 0:
        return "retake: no face in the picture", ()
    clipped = float((rgb[inside].min(axis=1) >= _CLIPPED_LEVEL).mean())
    middle = float(np.median(levels))
    if middle < _DARK_LEVEL:
        return "retake: far too dark; add light or expose longer", ()
    if clipped > _BLOWN_OUT_SHARE:
        return "retake: blown out; expose less or turn the flash off", ()
    flags = ("dim",) if middle < _DIM_LEVEL else ()
    return "", (*flags, "overexposed") if clipped > _OVEREXPOSED_SHARE else flags


def judge_sharpness(
    rgb: NDArray[np.uint8], outline: NDArray[np.bool_], px_per_mm: float
) -> tuple[str, tuple[str, ...]]:
    """Reason why a face is too blurred to bear a number ("" if it is not), and flags."""
    width_mm = edge_width_mm(rgb, outline, px_per_mm)
    if width_mm is not None and width_mm > _BLURRED_MM:
        return "retake: too blurred; hold the camera still and focus on the vessel", ()
    return "", ("soft",) if width_mm is not None and width_mm > _SOFT_MM else ()


def edge_width_mm(rgb: NDArray[np.uint8], outline: NDArray[np.bool_], px_per_mm: float) -> float | None:
    """Width of the sharpest tenth of the outline's edges, mm, or None where the outline has no clear edge.

    The width of an edge is its step divided by its steepest slope.
    """
    grey = cv2.GaussianBlur(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), (0, 0), 0.5 * px_per_mm).astype(np.float32)
    contours, _ = cv2.findContours(outline.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    curve = max(contours, key=len)[:, 0, :].astype(np.float64)
    curve = curve[:: max(1, len(curve) // 300)]
    tangent = np.roll(curve, -3, axis=0) - np.roll(curve, 3, axis=0)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) / (np.linalg.norm(tangent, axis=1, keepdims=True) + 1e-9)
    offsets = np.arange(-_PROFILE_MM, _PROFILE_MM, 1.0 / px_per_mm) * px_per_mm
    points = curve[:, None, :] + offsets[None, :, None] * normal[:, None, :]
    columns, rows = points[..., 0].astype(np.float32), points[..., 1].astype(np.float32)
    sampled = cv2.remap(grey, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    profile = np.asarray(sampled, np.float32)
    slope = np.abs(np.diff(profile, axis=1))
    steepest = slope.max(axis=1)
    step = _step_at(profile, slope.argmax(axis=1), px_per_mm)
    clear = step > 25
    if clear.sum() < 10:
        return None
    return float(np.quantile(step[clear] / steepest[clear], 0.1) / px_per_mm)


def _step_at(profile: NDArray[np.float32], place: NDArray[np.intp], px_per_mm: float) -> NDArray[np.float32]:
    """Difference of level some millimetres before and after the steepest place of each profile."""
    aside = round(6 * px_per_mm)
    rows = np.arange(len(profile))
    before = profile[rows, np.maximum(place - aside, 0)]
    after = profile[rows, np.minimum(place + aside, profile.shape[1] - 1)]
    return np.asarray(np.abs(after - before), np.float32)
