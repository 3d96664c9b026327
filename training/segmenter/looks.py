"""Other looks of the same face: growth, mould, light, sharpness and grain varied, and moulds put where none were.

A network that has seen one maker's growth and moulds knows that maker. What is varied here widens every face beyond
what its maker draws.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from training.segmenter.noise import Rng, rough_noise, smooth_noise
from vision.surface.segmenter_input import INPUT_PX_PER_MM, FacePlanes

Shares = NDArray[np.float32]
COLONISED, CONTAMINATED, COLOURED, VEILED = range(4)
#: How often each is varied, and how often a mould is put on a face.
_GROWTH, _MOULD, _FIELD, _BLUR, _ERODED, _PUT = 0.6, 0.6, 0.5, 0.25, 0.3, 0.3


@dataclass(frozen=True, eq=False)
class Look:
    """What is changed of a face, the same for a coarse and a fine copy of it; see ``random_look``."""

    growth_shift: Shares
    growth_contrast: float
    mould_colour: Shares | None
    mould_strength: float
    tone: float
    field: Shares | None
    blur: float
    grain: float
    detail: float
    eroded_px: int
    put: int | None
    seed: int

    def change(self, planes: FacePlanes, truth: Shares, *, step: int) -> tuple[FacePlanes, Shares]:
        """Planes and truth (4, h, w) of a part of a face in this look; step: how much coarser than the planes are."""
        rng = np.random.default_rng(self.seed + step)
        logs, detail, within, truth = planes.logs, planes.detail, planes.within, truth.copy()
        logs, detail = self._grown_otherwise(logs, detail, truth)
        if self.mould_colour is not None:
            logs = _tinted(logs, truth[COLOURED], self.mould_colour, self.mould_strength)
        if self.put is not None and step == 1:
            logs, truth = _with_mould(rng, logs, truth, within)
        if self.field is not None:
            size = logs.shape[1::-1]
            logs = logs + cv2.resize(self.field, size, interpolation=cv2.INTER_CUBIC)
        inside = within > 0
        middle = logs[inside].mean(axis=0) if inside.any() else np.zeros(3, np.float32)
        logs = middle + (logs - middle) * np.float32(self.tone)
        if self.blur > 0:
            logs = cv2.GaussianBlur(logs, (0, 0), self.blur / step) if self.blur / step > 0.3 else logs
            detail = detail * np.float32(np.exp(-self.blur))
        if self.grain > 0 and step == 1:
            logs = logs + np.float32(self.grain) * rng.standard_normal((*logs.shape[:2], 1), np.float32)
        detail = detail * np.float32(self.detail)
        if self.eroded_px and step == 1:
            kept = cv2.erode((within > 0.5).astype(np.uint8), np.ones((3, 3), np.uint8), iterations=self.eroded_px)
            within = within * kept
            truth *= kept
        logs = np.where(within[..., None] > 0, logs, 0)
        return FacePlanes(logs.astype(np.float32), (detail * (within > 0)).astype(np.float32), within), truth

    def _grown_otherwise(self, logs: Shares, detail: Shares, truth: Shares) -> tuple[Shares, Shares]:
        grown = truth[COLONISED]
        if not grown.any() or not self.growth_shift.any():
            return logs, detail
        soft = cv2.GaussianBlur(grown, (0, 0), 1.2)[..., None]
        middle = (logs * soft).sum((0, 1)) / max(float(soft.sum()), 1e-3)
        changed = logs + soft * (self.growth_shift + (self.growth_contrast - 1) * (logs - middle))
        return changed, detail * (1 + soft[..., 0] * np.float32(self.growth_contrast - 1))


def random_look(rng: Rng, *, referenced: bool) -> Look:
    """Draw a look. Without a label tones vary more: the camera has bent them as it liked."""
    other_growth = rng.random() < _GROWTH
    shift = rng.normal(0, 0.15) + rng.normal(0, 0.05, 3) * (1, 0.3, 1.3) if other_growth else np.zeros(3)
    light = None
    if rng.random() < _FIELD:
        strength = rng.uniform(0, 0.3)
        level = strength * rng.standard_normal((3, 3, 1)) + 0.15 * strength * rng.standard_normal((3, 3, 3))
        light = level.astype(np.float32)
    return Look(
        growth_shift=np.minimum(shift, 0.35).astype(np.float32),
        growth_contrast=float(np.exp(rng.normal(0, 0.25))) if other_growth else 1.0,
        mould_colour=_mould_colour(rng) if rng.random() < _MOULD else None,
        mould_strength=float(rng.uniform(0.3, 1.0)),
        tone=float(np.exp(rng.normal(0, 0.06 if referenced else 0.15))),
        field=light,
        blur=float(rng.uniform(0.3, 1.3)) if rng.random() < _BLUR else 0.0,
        grain=float(rng.uniform(0, 0.08)) if rng.random() < 0.5 else 0.0,
        detail=float(np.exp(rng.normal(0, 0.2))),
        eroded_px=int(rng.integers(1, 4)) if rng.random() < _ERODED else 0,
        put=1 if rng.random() < _PUT else None,
        seed=int(rng.integers(2**31)),
    )


def _mould_colour(rng: Rng) -> Shares:
    """Logarithms of a colour (3,) that a mould could have: any hue, or grey to black; less the usual light's."""
    level = float(rng.uniform(0.03, 0.7))
    if rng.random() < 0.3:
        return np.full(3, np.log(float(np.exp(rng.uniform(np.log(0.01), np.log(0.25))))) + 1.5, np.float32)
    hue, saturation = rng.uniform(0, 2 * np.pi), rng.uniform(0.4, 1.4)
    wheel = np.cos(hue - np.array([0, 2 * np.pi / 3, 4 * np.pi / 3]))
    return (np.log(level) + 1.5 + 0.6 * saturation * wheel).astype(np.float32)


def _tinted(logs: Shares, coloured: Shares, colour: Shares, strength: float) -> Shares:
    """The coloured parts brought to another colour, their own texture kept."""
    if not coloured.any():
        return logs
    share = coloured[..., None]
    middle = (logs * share).sum((0, 1)) / max(float(share.sum()), 1e-3)
    return np.asarray(logs + share * np.float32(strength) * (colour - middle), np.float32)


def _with_mould(rng: Rng, logs: Shares, truth: Shares, within: Shares) -> tuple[Shares, Shares]:
    """A mould of any form and colour on a part of the face, on growth or on bare substrate."""
    rows, columns = np.nonzero(within > 0.9)
    if len(rows) < 400:
        return logs, truth
    at = int(rng.integers(len(rows)))
    radius = float(np.exp(rng.uniform(np.log(3.5), np.log(22)))) * INPUT_PX_PER_MM
    grid_rows, grid_columns = np.indices(within.shape, np.float32)
    bumpy = smooth_noise(rng, within.shape, max(2.0, radius / 2)) * np.float32(0.25 * radius)
    away = np.hypot(grid_rows - rows[at], grid_columns - columns[at]) + bumpy
    patch = np.clip((radius - away) / rng.uniform(0.7, 3.0) + 0.5, 0, 1) * (within > 0)
    opacity = patch * np.float32(rng.uniform(0.75, 1.0))
    form = rng.random()
    if form < 0.3:  # specks, or threads, with gaps between them
        fine = rough_noise(rng, within.shape, rng.uniform(1.5, 5.0))
        opacity = opacity * (fine > rng.uniform(-0.5, 0.7))
    elif form < 0.45:  # a ring
        opacity = opacity * np.clip(np.abs(away - 0.75 * radius) < 0.3 * radius, 0.15, 1)
    colour = _mould_colour(rng)
    texture = rng.uniform(0.03, 0.3) * rough_noise(rng, within.shape, rng.uniform(1.0, 4.0))
    flat = colour + texture[..., None]
    keep = np.float32(rng.uniform(0.0, 0.5))  # of the relief below
    below = cv2.GaussianBlur(logs, (0, 0), 4.0)
    changed = logs + opacity[..., None] * (flat + keep * (logs - below) - logs)
    away_from_own = float(np.abs(changed - logs)[patch > 0.5].mean()) if (patch > 0.5).any() else 0.0
    if away_from_own < 0.25:  # hardly to be seen: it teaches nothing
        return logs, truth
    truth = truth.copy()
    truth[COLONISED] *= 1 - patch
    truth[CONTAMINATED] = np.maximum(truth[CONTAMINATED], patch * within)
    truth[COLOURED] = np.maximum(truth[COLOURED], patch * within)
    return changed.astype(np.float32), truth
