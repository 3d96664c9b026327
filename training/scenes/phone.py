"""A phone's picture of linear light: exposure, colour, lens, noise, tone, sharpening, JPEG with its time."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from training.segmenter.noise import Field, Rng


@dataclass(frozen=True)
class Phone:
    """stops: exposure against the automatic one; cast: per channel; vignette, noise: shares; quality: of the JPEG."""

    stops: float = 0.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    blur_px: float = 0.6
    vignette: float = 0.25
    noise: float = 0.012
    quality: int = 85


def _tone(light: Field) -> Field:
    """Scene light to encoded 0-1: a filmic curve with a toe and a long shoulder, unlike the program's own model."""
    a, b, c, d, e = 2.51, 0.03, 2.43, 0.59, 0.14  # rational fit of a film curve, Narkowicz 2015
    x = np.maximum(light, 0) * 0.52
    curved = np.clip(x * (a * x + b) / (x * (c * x + d) + e), 0, 1)
    mixed = 0.4 * curved + 0.6 * (1 - np.exp(-1.2 * np.maximum(light, 0)))
    return np.where(mixed <= 0.0031308, 12.92 * mixed, 1.055 * np.power(np.maximum(mixed, 1e-9), 1 / 2.4) - 0.055)


def take(rng: Rng, phone: Phone, light: Field) -> Field:
    """The developed picture, 8-bit values as float (H, W, 3), RGB."""
    height, width = light.shape[:2]
    level = float(np.exp(np.log(light.mean(axis=2) + 1e-4).mean()))
    exposed = light * (0.16 / level * 2.0**phone.stops) * np.array(phone.cast, np.float32)
    rows, columns = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j].astype(np.float32)
    off = (rows * height) ** 2 + (columns * width) ** 2
    exposed *= (1 - phone.vignette * off / (height**2 + width**2))[..., None]
    blurred = cv2.GaussianBlur(np.minimum(exposed, 6.0), (0, 0), phone.blur_px)
    bloom = cv2.GaussianBlur(np.maximum(blurred - 1, 0), (0, 0), 9)
    blurred = blurred + 0.04 * bloom
    shot = rng.standard_normal(blurred.shape).astype(np.float32)
    shot = 0.7 * cv2.GaussianBlur(shot, (0, 0), 0.7) * 2 + 0.3 * shot
    noisy = blurred + phone.noise * np.sqrt(np.maximum(blurred, 0.004)) * shot
    encoded = _tone(noisy.astype(np.float32)).astype(np.float32)
    sharper = encoded + 0.5 * (encoded - cv2.GaussianBlur(encoded, (0, 0), 1.1))
    return np.clip(255 * sharper + 0.5, 0, 255).astype(np.float32)


def smooth_grain(light: Field, albedo: Field, part: NDArray[np.int32], first_vessel: int) -> Field:
    """Take out most of the renderer's own grain, which a phone has not: what is light is smoothed apart from colour.

    albedo: (H, W, 3) of what is seen; part: number of what each pixel sees; parts before ``first_vessel`` have fewer
    light paths and are smoothed more, each within its own outline.
    """
    ground = np.maximum(albedo, 0.01)
    falling = np.sqrt(np.maximum(light / ground, 0)).astype(np.float32)
    middle = cv2.medianBlur(falling, 3)
    falling = np.where(falling > 1.8 * middle + 0.05, middle, falling)
    level = float(np.median(falling))
    near = cv2.bilateralFilter(falling, 7, 0.40 * level, 1.5)
    for number in range(first_vessel):
        here = part == number
        weight = cv2.GaussianBlur(here.astype(np.float32), (0, 0), 4.0)[..., None]
        total = cv2.GaussianBlur(np.where(here[..., None], falling**2, 0), (0, 0), 4.0)
        near[here] = np.sqrt(total / np.maximum(weight, 1e-3))[here]
    return np.asarray(near**2 * ground, np.float32)


def calm(light: Field) -> Field:
    """Light of a film or glass alone, its grain smoothed."""
    root = cv2.medianBlur(np.sqrt(np.maximum(light, 0)).astype(np.float32), 3)
    return np.asarray(cv2.bilateralFilter(root, 7, 0.9 * float(np.median(root)), 1.5) ** 2, np.float32)


def save(picture: Field, path: Path, when: datetime, quality: int) -> None:
    """Write the JPEG with the time in its EXIF."""
    image = Image.fromarray(picture.astype(np.uint8))
    exif = Image.Exif()
    stamp = when.strftime("%Y:%m:%d %H:%M:%S")
    exif[0x0132] = stamp
    exif.get_ifd(0x8769).update({0x9003: stamp, 0x9004: stamp})
    image.save(path, quality=quality, exif=exif, subsampling=2)
