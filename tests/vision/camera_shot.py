"""Drawn photos of label sheets and of a colour chart, as taken by cameras with known faults."""

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from PIL import ExifTags, Image

from calibration import CHART_COLUMNS, CHART_ROWS, CameraProfile, chart_light, fit_colours
from tests.vision.drawn import label_picture, paste
from vision.camera.measure_chart import find_chart
from vision.pixels.light import apply_shoulder, undo_shoulder

#: Matrix of a camera that mixes its colours, for linear red, green, blue; neutral colours stay neutral.
MIXED = np.array([[0.80, 0.17, 0.03], [0.09, 0.80, 0.11], [0.02, 0.20, 0.78]])


def decoded(rgb: np.ndarray) -> np.ndarray:
    value = rgb / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def encoded(light: np.ndarray) -> np.ndarray:
    value = np.clip(light, 0, 1)
    return np.asarray(np.where(value <= 0.0031308, 12.92 * value, 1.055 * np.maximum(value, 1e-9) ** (1 / 2.4) - 0.055))


def sheet(px_per_mm: float, ids: Sequence[str], columns: int = 3) -> np.ndarray:
    """Linear light of a grey card, wider than high, with labels spread over all of it."""
    rows = -(-len(ids) // columns)
    height, width = round(rows * 62 * px_per_mm), round(columns * 92 * px_per_mm)
    card = np.full((height, width, 3), 150, np.uint8)
    for number, vessel in enumerate(ids):
        row, column = divmod(number, columns)
        paste(
            card,
            label_picture(vessel, px_per_mm),
            round((row * 62 + 11) * px_per_mm),
            round((column * 92 + 16) * px_per_mm),
        )
    return decoded(card)


def chart(patch_px: int = 40) -> np.ndarray:
    """Linear light of the 24-patch chart."""
    gap = max(2, patch_px // 8)
    step = patch_px + gap
    picture = np.full((CHART_ROWS * step + 3 * gap, CHART_COLUMNS * step + 3 * gap, 3), 0.012)
    for number, light in enumerate(chart_light()):
        row, column = divmod(number, CHART_COLUMNS)
        top, left = 2 * gap + row * step, 2 * gap + column * step
        picture[top : top + patch_px, left : left + patch_px] = light
    return picture


def shot(
    scene: np.ndarray,
    *,
    exposure: float = 1.0,
    darker_left: float = 0.0,
    mixed: np.ndarray | None = None,
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0),
    blur_px: float = 0.6,
    noise: float = 1.0,
    gamma: float = 1.0,
) -> np.ndarray:
    """The photo (uint8 RGB) of a scene's linear light. darker_left: share by which the left edge is darker."""
    ramp = np.linspace(1 - darker_left, 1.0, scene.shape[1])[None, :, None]
    light = cv2.GaussianBlur(scene * ramp * exposure * np.array(cast), (0, 0), blur_px)
    light = light if mixed is None else light @ mixed.T
    levels = 255 * encoded(np.maximum(light, 0) ** gamma)
    levels = levels + np.random.default_rng(5).normal(0, noise, levels.shape)
    return np.clip(np.round(levels), 0, 255).astype(np.uint8)


def profile_of(mixed: np.ndarray, name: str = "A") -> CameraProfile:
    """The profile of a camera with this matrix, calibrated with a photo of the chart."""
    seen = find_chart(shot(chart(60), mixed=mixed, exposure=0.8))
    assert seen is not None
    fit = fit_colours(seen.light, chart_light(), seen.places)
    before, after = float(fit.differences_before.mean()), float(fit.differences_after.mean())
    return CameraProfile(name, tuple(map(tuple, fit.matrix)), True, before, after)


def retaken(rgb: np.ndarray, mixed: np.ndarray) -> np.ndarray:
    """A photo as a camera with this matrix would have taken it."""
    light = np.maximum(undo_shoulder(decoded(rgb)) @ mixed.T, 0)
    return np.round(255 * encoded(apply_shoulder(light))).astype(np.uint8)


def save(photo: np.ndarray, target: Path, model: str = "Model 1") -> Path:
    """Write a JPEG with the camera in its EXIF."""
    exif = Image.Exif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = "Maker", model
    target.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(photo).save(target, quality=97, subsampling=0, exif=exif)
    return target
