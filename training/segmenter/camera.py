"""A camera's picture of a drawn scene, and the same picture corrected by its label."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import LABELS
from training.segmenter.noise import Field, Rng, smooth_noise
from training.segmenter.substrates import PX_PER_MM
from vision.pixels.colour import decode_srgb8, srgb_to_linear
from vision.pixels.light import SHOULDER_KNEE, undo_shoulder

#: sRGB values of the neutral patches of the label.
PATCHES = tuple(patch.srgb for patch in LABELS["normal"].patches)


@dataclass(frozen=True)
class Camera:
    """How one picture is taken.

    gain: per channel, exposure and cast; gamma, shoulder and knee: tone curve, a knee of 1 being none;
    blur_mm and px_per_mm: sharpness; noise: share of the level; quality: of the JPEG, 0-100.
    """

    gain: tuple[float, float, float]
    gamma: float
    shoulder: float
    knee: float
    blur_mm: float
    px_per_mm: float
    noise: float
    chroma_noise: float
    quality: int


def random_camera(rng: Rng, *, plate: bool) -> Camera:
    """Any phone in any room: two stops either way, casts, sharp or soft, clean or noisy."""
    exposure = np.exp(rng.normal(0.1, 0.55))
    warmth, tint = rng.normal(0, 0.16), rng.normal(0, 0.05)
    gain = exposure * np.exp([warmth, tint, -warmth])
    plain = rng.random() < 0.6
    return Camera(
        gain=(float(gain[0]), float(gain[1]), float(gain[2])),
        gamma=1.0 if plain else rng.uniform(0.75, 1.15),
        shoulder=0.0 if plain else rng.uniform(0, 0.8),
        knee=SHOULDER_KNEE if rng.random() < 0.6 else rng.uniform(0.4, 1.0),
        blur_mm=rng.uniform(0.05, 0.4),
        px_per_mm=rng.uniform(2.5, 6) if plate else rng.uniform(1.6, 4.5),
        noise=float(np.exp(rng.uniform(np.log(0.015), np.log(0.4)))),
        chroma_noise=rng.uniform(0, 0.4),
        quality=int(rng.integers(68, 97)),
    )


def _tone(camera: Camera, linear: Field) -> Field:
    """Scene light to encoded 0-1 as a camera does: gain, contrast, a shoulder towards white, sRGB."""
    light = np.maximum(linear * np.array(camera.gain, np.float32), 0) ** camera.gamma
    light = light * (1 + camera.shoulder) / (1 + camera.shoulder * light)
    room = max(1.0 - camera.knee, 1e-3)
    light = np.minimum(light, camera.knee) + room * (1 - np.exp(-np.maximum(light - camera.knee, 0) / room))
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.power(light, 1 / 2.4) - 0.055).astype(np.float32)


def photograph(rng: Rng, camera: Camera, scene: Field) -> NDArray[np.uint8]:
    """Take the picture: scene light (H, W, 3) at ``PX_PER_MM`` to 8-bit sRGB of the same size."""
    height, width = scene.shape[:2]
    scale = min(1.6, camera.px_per_mm / PX_PER_MM)
    size = (max(4, round(width * scale)), max(4, round(height * scale)))
    blurred = cv2.GaussianBlur(scene, (0, 0), max(0.3, camera.blur_mm * PX_PER_MM))
    small = cv2.resize(blurred, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR)
    cell = rng.uniform(1, 1.8)
    grey = smooth_noise(rng, small.shape[:2], cell)
    colour = np.stack([smooth_noise(rng, small.shape[:2], cell) for _ in range(3)], axis=2)
    noise = camera.noise * (grey[..., None] + camera.chroma_noise * colour)
    noisy = np.maximum(small * (1 + noise) + 0.01 * camera.noise * colour, 0)
    eight = (255 * _tone(camera, noisy) + 0.5).astype(np.uint8)
    ok, coded = cv2.imencode(".jpg", eight[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, camera.quality])
    if not ok:
        msg = "the picture could not be coded"
        raise RuntimeError(msg)
    back = np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR))[:, :, ::-1]
    filter_used = cv2.INTER_AREA if scale > 1 else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(back, (width, height), interpolation=filter_used), np.uint8)


def label_light(rng: Rng) -> float:
    """How much more light falls on a vessel's label than on its face: of the vessel and its place, alike over days."""
    return float(np.exp(rng.normal(0.05, 0.45)))


def correct_by_label(rng: Rng, camera: Camera, picture: NDArray[np.uint8], local: float) -> Field:
    """Linear light, 1.0 = matt white, from a picture whose label was read with errors in light and colour.

    As the program does it: the shoulder is undone, and what the usable patches say of white divides the light.
    local: light on the label beside that on the face, of the vessel; each picture strays from it a little.
    """
    known = srgb_to_linear(np.array(PATCHES) / 255.0)
    local = local * np.exp(rng.normal(0, 0.06 if rng.random() < 0.8 else 0.3))
    scene = known[:, None] * local * np.exp(rng.normal((-0.04, 0, 0.04), 0.05, (1, 3))) + rng.uniform(0, 0.015)
    seen = undo_shoulder(srgb_to_linear(_tone(camera, scene.astype(np.float32))))
    usable = seen.max(axis=1) <= 0.6
    white = seen / known[:, None]
    white = np.median(white[usable] if usable.any() else white, axis=0)
    return (undo_shoulder(decode_srgb8(picture)) / white).astype(np.float32)


def guess_light(picture: NDArray[np.uint8]) -> Field:
    """Linear light of a picture without a label, its exposure and white balance as they came."""
    return undo_shoulder(decode_srgb8(picture))
