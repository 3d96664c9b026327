"""Where on one rectified face is mycelium, where is the surface veiled, and how much is colonised."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import Kind
from vision.anomaly import Anomaly, find_anomalies
from vision.baseline import Baseline, learn_baseline, log_light

#: Window over which "hides at least half" is averaged, mm (the definition of a colonised point).
WINDOW_MM = 3.0
#: Scale at which the decision is taken, px per mm; the window leaves nothing finer to decide.
WORK_PX_PER_MM = 1.5


@dataclass(frozen=True, eq=False)
class FaceSegmentation:
    """What was seen at each point of a face.

    mycelium: float32 (H, W), 0-1, probability that the point is colonised; 0 outside.
    veiled: bool (H, W), True where glare or condensation hides the surface.
    anomalies: patches of foreign colour; their points count as not colonised.
    """

    mycelium: NDArray[np.float32]
    veiled: NDArray[np.bool_]
    anomalies: tuple[Anomaly, ...]


@dataclass(frozen=True)
class Coverage:
    """Colonised share of a face with its 80 % bounds, and the share that was hidden; percents, 0-100."""

    percent: float
    low: float
    high: float
    hidden_percent: float


def segment_face(
    linear_rgb: NDArray[np.float32],
    inside: NDArray[np.bool_],
    px_per_mm: float,
    *,
    kind: Kind,
    baseline: Baseline | None = None,
    referenced: bool = True,
) -> FaceSegmentation:
    """Say for each point of a rectified face how likely it is colonised, and which are veiled or foreign.

    ``linear_rgb`` (H, W, 3) is linear light, 1.0 = a perfect matt white under the label's light if ``referenced``;
    else exposure and white balance are a guess. ``inside`` is True on visible substrate surface, bare or colonised.
    ``baseline``: the bare substrate of this vessel; None reads the picture alone.
    """
    height, width = inside.shape
    if not inside.any():
        nothing = np.zeros((height, width), np.float32)
        return FaceSegmentation(nothing, nothing > 0, ())
    scale = min(1.0, WORK_PX_PER_MM / px_per_mm)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    light = cv2.resize(linear_rgb, size, interpolation=cv2.INTER_AREA)
    within = cv2.resize(inside.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    smooth = _window_mean(light, within, WINDOW_MM * px_per_mm * scale)
    weight = within > 0.5
    bare = baseline if baseline and baseline.referenced == referenced else None
    bare = bare or _darkest_as_bare(smooth, weight, referenced)
    share = _share_hidden(smooth, weight, bare)
    probability = 1 / (1 + np.exp(-12 * (share - 0.5)))
    foreign = _foreign_colour(smooth, bare)
    small_veil = _glare(light, smooth, weight)
    up = (width, height)
    foreign_full = cv2.resize(foreign * weight, up, interpolation=cv2.INTER_LINEAR)
    mycelium = cv2.resize((probability * (1 - foreign)).astype(np.float32), up, interpolation=cv2.INTER_LINEAR)
    veiled = cv2.resize(small_veil.astype(np.uint8), up, interpolation=cv2.INTER_NEAREST) > 0
    return FaceSegmentation(
        np.where(inside, mycelium, 0).astype(np.float32),
        veiled & inside,
        find_anomalies(linear_rgb, np.where(inside, foreign_full, 0).astype(np.float32), px_per_mm),
    )


def coverage(
    segmentation: FaceSegmentation, inside: NDArray[np.bool_], weight: NDArray[np.float32] | None = None
) -> Coverage:
    """Colonised percent of a face, with 80 % bounds.

    ``weight`` (H, W): area that each pixel stands for; None weighs all alike. Under a veil the share is taken from the
    rest of the face, and the bounds widen by what was hidden.
    """
    area = inside.astype(np.float64) if weight is None else inside * weight.astype(np.float64)
    total = float(area.sum())
    if total <= 0:
        return Coverage(0.0, 0.0, 100.0, 100.0)
    seen = area * ~segmentation.veiled
    hidden = 1 - float(seen.sum()) / total
    if seen.sum() <= 0:
        return Coverage(50.0, 0.0, 100.0, 100.0)
    colonised = segmentation.mycelium > 0.5
    share = float((seen * colonised).sum() / seen.sum())
    undecided = float((seen * np.minimum(segmentation.mycelium, 1 - segmentation.mycelium)).sum() / seen.sum())
    reach = 0.3 * undecided + 0.5 * hidden + 0.005
    return Coverage(100 * share, 100 * max(0.0, share - reach), 100 * min(1.0, share + reach), round(100 * hidden, 2))


def _window_mean(values: NDArray[np.float32], within: NDArray[np.float32], side_px: float) -> NDArray[np.float32]:
    """Mean over a square window of what lies within the face."""
    side = max(1, round(side_px)) | 1
    weight = cv2.blur(within, (side, side))
    total = cv2.blur(values * within[..., None], (side, side))
    return (total / np.maximum(weight, 1e-6)[..., None]).astype(np.float32)


def _darkest_as_bare(smooth: NDArray[np.float32], weight: NDArray[np.bool_], referenced: bool) -> Baseline:
    """A baseline from the darker part of the picture itself."""
    luminance = smooth.mean(axis=2)
    limit = np.quantile(luminance[weight], 0.3) if weight.any() else 0.1
    return learn_baseline(smooth, weight & (luminance <= limit), referenced=referenced) or Baseline(
        (-2.3, -2.6, -3.0), (0.3, 0.3, 0.3), referenced
    )


def _share_hidden(smooth: NDArray[np.float32], weight: NDArray[np.bool_], bare: Baseline) -> NDArray[np.float32]:
    """Share of the substrate hidden: where the blue light lies, in logarithms, between bare substrate and white.

    Blue, because every substrate is brown or yellow: it is there that mycelium differs from it most.
    """
    blue = log_light(smooth)[..., 2]
    floor = bare.log_rgb[2]
    bright = float(np.quantile(blue[weight], 0.97)) if weight.any() else 0.0
    white = max(min(bright, -0.2), floor + 0.8)
    return np.clip((blue - floor) / (white - floor), -0.5, 1.5).astype(np.float32)


def _foreign_colour(smooth: NDArray[np.float32], bare: Baseline) -> NDArray[np.float32]:
    """1 where the hue is none that lies between bare substrate and white, else 0."""
    logs = log_light(smooth)
    green_red, blue_green = logs[..., 1] - logs[..., 0], logs[..., 2] - logs[..., 1]
    bare_green_red = bare.log_rgb[1] - bare.log_rgb[0]
    greenish = green_red > max(0.12, bare_green_red + 0.12)
    pink = (green_red < min(-0.45, bare_green_red - 0.25)) & (smooth[..., 0] > 0.3) & (blue_green > -0.9)
    return (greenish | pink).astype(np.float32)


def _glare(light: NDArray[np.float32], smooth: NDArray[np.float32], weight: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """True where the light is brighter than any matt surface of the face can be."""
    luminance = smooth.mean(axis=2)
    if not weight.any():
        return np.zeros(weight.shape, np.bool_)
    limit = max(1.15, 1.3 * float(np.quantile(luminance[weight], 0.9)))
    return weight & (light.mean(axis=2) > limit)
