"""Textures of drawn substrates at the network's scale, to lay under the growth of rendered scenes."""

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from training.segmenter.light import shading
from training.segmenter.noise import Rng
from training.segmenter.substrates import PX_PER_MM, coir, grain, mixture, sawdust, straw
from vision.surface.segmenter_input import face_planes

#: How many are drawn, and their rows and columns at ``PX_PER_MM``.
COUNT, SHAPE = 160, (720, 600)


@dataclass(frozen=True, eq=False)
class Texture:
    """logs: (h, w, 3) logarithm of light, median 0 in each channel; detail: (h, w) contrast finer than a pixel."""

    logs: NDArray[np.float16]
    detail: NDArray[np.float16]

    def tile(self, shape: tuple[int, int], top: int, left: int, step: int) -> tuple[NDArray[np.float32], ...]:
        """Logs and detail of a window of any size that begins at (top, left), every ``step``-th point; mirrored."""
        rows = _mirrored(top + step * np.arange(shape[0]), len(self.logs))
        columns = _mirrored(left + step * np.arange(shape[1]), self.logs.shape[1])
        return tuple(plane[rows][:, columns].astype(np.float32) for plane in (self.logs, self.detail))


def _mirrored(places: NDArray[np.integer], size: int) -> NDArray[np.integer]:
    folded = places % (2 * size)
    return np.where(folded < size, folded, 2 * size - 1 - folded)


def any_texture(rng: Rng) -> Texture:
    """One of them, by chance."""
    return _textures()[int(rng.integers(COUNT))]


@cache
def _textures() -> tuple[Texture, ...]:
    return tuple(_draw(np.random.default_rng([20261125, i])) for i in range(COUNT))


def _draw(rng: Rng) -> Texture:
    draw = (sawdust, straw, grain, coir, mixture)[int(rng.choice(5, p=(0.25, 0.25, 0.2, 0.15, 0.15)))]
    surface = draw(rng, SHAPE)
    light = shading(rng, surface.height, np.zeros(SHAPE, np.float32), rounded=False)
    smooth = cv2.GaussianBlur(light, (0, 0), 25 * PX_PER_MM)
    lit = cv2.GaussianBlur(surface.albedo * (light / smooth)[..., None], (0, 0), rng.uniform(0.3, 1.2))
    planes = face_planes(lit.astype(np.float32), np.ones(SHAPE, np.bool_), PX_PER_MM)
    logs = planes.logs - np.median(planes.logs, axis=(0, 1))
    return Texture(logs.astype(np.float16), planes.detail.astype(np.float16))
