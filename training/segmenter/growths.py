"""What grows on a drawn substrate: mycelium with an exact opacity, and moulds."""

from dataclasses import dataclass

import cv2
import numpy as np

from training.segmenter.noise import Field, Rng, ridges, rough_noise, smooth_noise, stretched_noise
from training.segmenter.substrates import PX_PER_MM, Surface


@dataclass(frozen=True, eq=False)
class Growth:
    """opacity: (H, W), 0-1, share of the substrate that is hidden; albedo: (H, W, 3) of what hides it."""

    opacity: Field
    albedo: Field


@dataclass(frozen=True, eq=False)
class Mould:
    """opacity of the whole patch with its pale margin; coloured: share of it that shows colour; albedo: (H, W, 3)."""

    opacity: Field
    coloured: Field
    albedo: Field


def _grid(shape: tuple[int, int]) -> tuple[Field, Field]:
    rows, columns = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    return rows / PX_PER_MM, columns / PX_PER_MM


def arrival(rng: Rng, shape: tuple[int, int], *, plate: bool) -> Field:
    """When the front reaches each point, as mm of growth from its nearest start: points, a plug, or a front."""
    row_mm, column_mm = _grid((shape[0] // 4, shape[1] // 4))
    row_mm, column_mm = row_mm * 4, column_mm * 4
    small = row_mm.shape
    wobble_mm = rng.uniform(0, 3)
    row_mm = row_mm + wobble_mm * smooth_noise(rng, small, 6) + rng.uniform(0, 5) * smooth_noise(rng, small, 20)
    column_mm = column_mm + wobble_mm * smooth_noise(rng, small, 6) + rng.uniform(0, 5) * smooth_noise(rng, small, 20)
    height_mm, width_mm = shape[0] / PX_PER_MM, shape[1] / PX_PER_MM
    if plate:
        starts = [(height_mm / 2 + rng.normal(0, 4), width_mm / 2 + rng.normal(0, 4))]
        starts += [
            tuple(rng.uniform(0, 1, 2) * (height_mm, width_mm))
            for _ in range(rng.integers(0, 3) if rng.random() < 0.3 else 0)
        ]
    elif rng.random() < 0.2:
        front = row_mm if rng.random() < 0.7 else height_mm - row_mm
        return _enlarge(front * np.exp(0.25 * smooth_noise(rng, small, 25)), shape)
    else:
        count = max(1, int(height_mm * width_mm / 100 * np.exp(rng.uniform(np.log(0.02), np.log(0.25)))))
        starts = list(rng.uniform(-0.05, 1.05, (count, 2)) * (height_mm, width_mm))
    reach = np.full(small, np.inf, np.float32)
    for start_row, start_column in starts:
        speed = np.exp(0.0 if plate else 0.25 * rng.standard_normal())
        late = 0.0 if plate else abs(rng.normal(0, 6))
        reach = np.minimum(reach, np.hypot(row_mm - start_row, column_mm - start_column) / speed + late)
    reach = reach * np.exp((0.05 if plate else 0.22) * smooth_noise(rng, small, rng.uniform(8, 30)))
    return _enlarge(reach, shape)


def _enlarge(field: Field, shape: tuple[int, int]) -> Field:
    return np.asarray(cv2.resize(field.astype(np.float32), shape[::-1], interpolation=cv2.INTER_CUBIC), np.float32)


def mycelium(rng: Rng, surface: Surface, wanted_share: float, *, plate: bool) -> Growth:
    """Mycelium that has reached about ``wanted_share`` (0-1) of the surface; 0 gives none, above 1 a thick old mat."""
    shape = surface.height.shape
    albedo = _mycelium_albedo(rng, surface)
    if wanted_share <= 0:
        return Growth(np.zeros(shape, np.float32), albedo)
    reach = arrival(rng, shape, plate=plate)
    ramp_mm = float(np.exp(rng.uniform(*np.log((1.2, 4.5) if rng.random() < 0.75 else (0.7, 9.0)))))
    edge_mm = np.quantile(reach, min(wanted_share, 1.0)) + (0.7 * ramp_mm if wanted_share <= 1 else 6 * ramp_mm)
    age_mm = edge_mm - reach
    age_mm = age_mm + rng.uniform(0, 0.6) * ramp_mm * rough_noise(rng, shape, rng.uniform(4, 14), 4)
    age_mm = age_mm + rng.uniform(0, 0.8) * ramp_mm * (surface.height - 0.5)
    opacity = 1 - np.exp(-np.maximum(age_mm, 0) / ramp_mm)
    if rng.random() < 0.3:
        opacity = _ropey(rng, opacity, reach)
    else:
        opacity = np.clip(
            opacity + rng.uniform(0, 0.25) * opacity * (1 - opacity) * 4 * rough_noise(rng, shape, 5, 4), 0, 1
        )
    thickest = 1.0 if rng.random() < 0.8 else rng.uniform(0.6, 1.0)
    return Growth((opacity * thickest).astype(np.float32), albedo)


def _ropey(rng: Rng, opacity: Field, reach: Field) -> Field:
    """Strands: thin growth stands as cords with bare gaps; where it is old the gaps have closed."""
    shape = opacity.shape
    across = np.asarray(cv2.GaussianBlur(reach, (0, 0), 3), np.float32)
    strands = stretched_noise(rng, shape, rng.uniform(2, 5), rng.uniform(2, 5), rng.uniform(0, 180))
    strands = strands + 0.8 * rough_noise(rng, shape, rng.uniform(4, 10), 3)
    strands = np.asarray(strands + 0.3 * np.sin(across), np.float32)
    strands = strands / np.float32(strands.std() + 1e-6)
    limit = np.interp(opacity, np.linspace(0, 1, 11), [4, 1.28, 0.84, 0.52, 0.25, 0, -0.25, -0.52, -0.84, -1.28, -3])
    return np.clip((strands - limit) * rng.uniform(1.5, 5) + 0.5, 0, 1).astype(np.float32) * np.minimum(opacity * 3, 1)


def _mycelium_albedo(rng: Rng, surface: Surface) -> Field:
    shape = surface.height.shape
    level = rng.uniform(0.5, 0.92)
    tint = np.array([1.0, rng.uniform(0.92, 1.01), rng.uniform(0.75, 1.02)], np.float32)
    fluff = 1 + rng.uniform(0.01, 0.25) * rough_noise(rng, shape, rng.uniform(2, 12), 3)
    fluff -= rng.uniform(0, 0.35) * ridges(rng, shape, rng.uniform(10, 30)) * (rng.random() < 0.5)
    albedo = level * tint * fluff[..., None]
    if rng.random() < 0.3:  # cream to tan patches of old growth, and the light-brown tinge of its metabolites
        amount = np.clip(
            rng.uniform(0.2, 1.0) * (smooth_noise(rng, shape, rng.uniform(25, 90)) - rng.uniform(-0.5, 1)), 0, 1
        )
        tan = np.array([0.92, rng.uniform(0.72, 0.88), rng.uniform(0.4, 0.75)], np.float32)
        albedo = albedo * (1 - amount[..., None] * (1 - tan))
    if rng.random() < 0.12:  # amber drops
        drops = (smooth_noise(rng, shape, rng.uniform(4, 10)) > rng.uniform(1.8, 2.6)).astype(np.float32)
        amber = np.array([0.8, rng.uniform(0.45, 0.65), rng.uniform(0.1, 0.3)], np.float32)
        albedo = albedo * (1 - cv2.blur(drops, (3, 3))[..., None] * (1 - amber))
    return np.clip(albedo, 0.05, 0.97).astype(np.float32)


#: Linear RGB that moulds show, between two ends each; our own estimate of what growers describe.
MOULD_COLOURS = {
    "green": ((0.03, 0.12, 0.04), (0.18, 0.36, 0.14)),
    "blue-green": ((0.03, 0.13, 0.11), (0.22, 0.42, 0.36)),
    "black": ((0.005, 0.005, 0.005), (0.04, 0.04, 0.04)),
    "grey": ((0.12, 0.12, 0.12), (0.3, 0.3, 0.3)),
    "pink-orange": ((0.6, 0.1, 0.04), (0.85, 0.35, 0.2)),
    "yellow": ((0.55, 0.4, 0.03), (0.8, 0.65, 0.2)),
}


def mould(rng: Rng, shape: tuple[int, int], colour: str) -> Mould:
    """One patch of mould of 0.3-40 cm2: a pale margin, and colour inside it that may not have come yet."""
    row_mm, column_mm = _grid(shape)
    row_mm = row_mm + rng.uniform(0.2, 2) * smooth_noise(rng, shape, 12)
    column_mm = column_mm + rng.uniform(0.2, 2) * smooth_noise(rng, shape, 12)
    centre = rng.uniform(0.08, 0.92, 2) * (shape[0] / PX_PER_MM, shape[1] / PX_PER_MM)
    radius_mm = float(np.exp(rng.uniform(np.log(3.5), np.log(36))))
    distance = np.hypot(row_mm - centre[0], column_mm - centre[1]) * np.exp(0.12 * rough_noise(rng, shape, 20, 4))
    margin_mm = min(rng.uniform(0.5, 8), 0.6 * radius_mm)
    opacity = np.clip((radius_mm - distance) / rng.uniform(0.5, 3), 0, 1)
    softness = rng.uniform(0.5, 4)
    powder = 0.25 * rough_noise(rng, shape, 5, 4) * rng.uniform(0, 1)
    coloured = np.clip((radius_mm - margin_mm - distance) / softness + 0.5 + powder, 0, 1) * (distance < radius_mm)
    low, high = (np.array(end, np.float32) for end in MOULD_COLOURS[colour])
    tone = low + (high - low) * rng.uniform(0, 1, 3).astype(np.float32) * 0.35 + (high - low) * rng.uniform(0, 0.65)
    grainy = 1 + rng.uniform(0.03, 0.2) * rough_noise(rng, shape, 5, 4)
    pale = rng.uniform(0.4, 0.85) * np.array([1, rng.uniform(0.97, 1.05), rng.uniform(0.9, 1.03)], np.float32)
    albedo = pale * (1 - coloured[..., None]) + tone * coloured[..., None] * grainy[..., None]
    return Mould(
        opacity.astype(np.float32), coloured.astype(np.float32), np.clip(albedo, 0.003, 0.95).astype(np.float32)
    )
