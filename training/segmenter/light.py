"""How light and a film or glass change what a camera sees of a surface."""

from dataclasses import dataclass

import cv2
import numpy as np

from training.segmenter.noise import Field, Rng, ridges, rough_noise, smooth_noise
from training.segmenter.substrates import PX_PER_MM


@dataclass(frozen=True, eq=False)
class Veil:
    """What lies over the surface: light added, (H, W, 3), share let through (H, W), and softening, px."""

    added: Field
    through: Field
    softened: Field
    soft_px: float


def shading(rng: Rng, height: Field, opacity: Field, *, rounded: bool) -> Field:
    """Light that falls on each point, (H, W), about 1: relief, rounded sides, gradients, strips of lamps, shadow."""
    shape = height.shape
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    rows, columns = rows / shape[0] - 0.5, columns / shape[1] - 0.5
    softened = cv2.GaussianBlur(height, (0, 0), rng.uniform(1, 3))
    relief = np.where(opacity > 0.5, rng.uniform(0, 1.0), 1.0) * height + opacity * rng.uniform(0, 1) * softened
    relief += opacity * rng.uniform(0, 1.0) * rough_noise(rng, shape, rng.uniform(2, 15), 3)
    relief += rng.uniform(0, 1.5) * smooth_noise(rng, shape, rng.uniform(30, 90)) * 3
    angle = rng.uniform(0, 2 * np.pi)
    slope = np.gradient(cv2.GaussianBlur(relief, (0, 0), rng.uniform(0.5, 1.0)).astype(np.float32))
    strength = rng.uniform(0.1, 1.8)
    light = 1 + np.clip(strength * (np.cos(angle) * slope[0] + np.sin(angle) * slope[1]), -0.75, 0.9)
    light *= np.exp(rng.uniform(-0.7, 0.7) * rows + rng.uniform(-0.5, 0.5) * columns)
    if rounded:
        side = np.clip(1 - (2 * np.abs(columns)) ** rng.uniform(3, 8), 0, 1)
        light *= (1 - (d := rng.uniform(0, 0.8))) + d * side
        top = np.clip((rows + 0.5) * rng.uniform(6, 20), 0, 1)
        light *= (1 - (d := rng.uniform(0, 0.4))) + d * top
        # The lower end turns away from lamps above, and the corners turn away twice.
        low = np.clip((0.5 - rows + rng.uniform(0, 0.1) * np.abs(columns)) * rng.uniform(4, 25), 0, 1)
        light *= (1 - (d := rng.uniform(0, 0.75))) + d * low
    if rng.random() < 0.4:
        light *= 1 + rng.uniform(0, 0.3) * np.sin(rows * rng.uniform(5, 25) + rng.uniform(0, 6))
    return (light * np.exp(rng.uniform(0, 0.12) * smooth_noise(rng, shape, 60))).astype(np.float32)


def film(rng: Rng, shape: tuple[int, int], kind: str) -> Veil:
    """Glare, haze and condensation of one wrapping: film of a bag, glass of a jar, lid of a plate."""
    added = np.zeros((*shape, 3), np.float32)
    through, softened = np.ones(shape, np.float32), np.zeros(shape, np.float32)
    tint = np.exp(rng.normal(0, 0.07, 3)).astype(np.float32)
    if rng.random() < 0.15:  # the reflection of a coloured lamp or thing
        tint = np.exp(rng.normal(0, 0.5, 3)).astype(np.float32)
    if rng.random() < 0.8:
        haze = np.clip(0.6 + 0.8 * smooth_noise(rng, shape, rng.uniform(40, 200)), 0, 3) * rng.uniform(0, 0.05)
        added += haze[..., None] * tint
    if kind != "jar" and rng.random() < 0.35:
        added += _sheen(rng, shape)[..., None] * tint
    if kind == "jar":
        added += _bands(rng, shape)[..., None] * tint
    elif rng.random() < (0.75 if kind == "bag" else 0.2):
        added += _wrinkle_glare(rng, shape)[..., None] * tint
    if rng.random() < 0.15:
        added += _bands(rng, shape)[..., None] * tint
    if rng.random() < 0.18:
        where = np.clip(smooth_noise(rng, shape, rng.uniform(60, 250)) - rng.uniform(-0.5, 1), 0, 1)
        drops = np.clip(rough_noise(rng, shape, rng.uniform(4, 14), 2) - 0.5, 0, 1)
        softened = where * rng.uniform(0.3, 1)
        through = 1 - where * rng.uniform(0, 0.5)
        added += (where * (rng.uniform(0.01, 0.15) + rng.uniform(0, 0.3) * drops))[..., None]
    return Veil(added, through, softened, rng.uniform(1, 4))


def _sheen(rng: Rng, shape: tuple[int, int]) -> Field:
    """A broad, soft reflection of a bright room in the film, mostly in the upper part: the bed shows through it."""
    rows = np.linspace(0, 1, shape[0], dtype=np.float32)[:, None]
    place = smooth_noise(rng, shape, rng.uniform(60, 220)) + rng.uniform(0, 3) * (rng.uniform(0.1, 0.6) - rows)
    soft = np.clip((place - rng.uniform(-0.5, 1)) / rng.uniform(0.3, 1.5), 0, 1)
    crumpled = np.clip(1 + rng.uniform(0, 0.8) * rough_noise(rng, shape, rng.uniform(3, 20), 3), 0, 3)
    level = float(np.exp(rng.uniform(np.log(0.02), np.log(0.3))))
    return (soft * crumpled * level).astype(np.float32)


def _wrinkle_glare(rng: Rng, shape: tuple[int, int]) -> Field:
    """Sharp-edged pools and lines where the film happens to mirror a lamp, gathered in parts of the face."""
    places = np.clip(smooth_noise(rng, shape, rng.uniform(60, 200)) - rng.uniform(0.0, 1.5), 0, 1)
    pools = np.clip(rough_noise(rng, shape, rng.uniform(10, 60), 2) - rng.uniform(0.3, 1.5), 0, rng.uniform(0.3, 1.5))
    lines = ridges(rng, shape, rng.uniform(20, 90)) ** 3
    glare = places * (pools * rng.uniform(0.5, 3) + lines * rng.uniform(0, 0.5))
    speckle = np.exp(rng.uniform(0, 0.5) * smooth_noise(rng, shape, 1.5))
    return np.clip(glare * speckle * rng.uniform(0.2, 1.2), 0, 3).astype(np.float32)


def _bands(rng: Rng, shape: tuple[int, int]) -> Field:
    """One to three upright (jar) or slanting bands of mirrored lamp, sharp or soft."""
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32) / PX_PER_MM
    out = np.zeros(shape, np.float32)
    for _ in range(rng.integers(1, 4)):
        lean = rng.normal(0, 0.05)
        middle = rng.uniform(0.05, 0.95) * shape[1] / PX_PER_MM
        width_mm = float(np.exp(rng.uniform(np.log(0.8), np.log(10))))
        across = np.abs(columns - middle - lean * rows + 0.5 * smooth_noise(rng, shape, 60))
        band = np.clip((width_mm / 2 - across) / rng.uniform(0.3, 3) + 0.5, 0, 1)
        ends = np.clip(1.5 - np.abs(rows / rows.max() - rng.uniform(0, 1)) * rng.uniform(1, 4), 0, 1)
        dashed = np.clip(1 + rng.uniform(0, 1.5) * smooth_noise(rng, shape, 8), 0, 2)
        out += band * ends * dashed * float(np.exp(rng.uniform(np.log(0.03), np.log(1.5))))
    return out
