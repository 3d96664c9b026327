"""Textures of substrates at the network's scale, drawn and photographed, to lay under the growth of rendered scenes."""

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.segmenter.light import shading
from training.segmenter.noise import Rng
from training.segmenter.substrates import PX_PER_MM, coir, grain, mixture, sawdust, straw
from vision.pixels.colour import decode_srgb8
from vision.surface.segmenter_input import face_planes

#: Rows and columns of a texture at ``PX_PER_MM``.
SHAPE = (720, 600)
#: Width in pixels of a cut-out of a photograph that becomes a texture: its true scale is not known.
_CUT_PX = (300, 1000)


def draw_texture(rng: Rng) -> NDArray[np.float16]:
    """One drawn texture, (4, h, w): logarithm of light, median 0 in each channel, and contrast finer than a pixel."""
    draw = (sawdust, straw, grain, coir, mixture)[int(rng.choice(5, p=(0.25, 0.25, 0.2, 0.15, 0.15)))]
    surface = draw(rng, SHAPE)
    light = shading(rng, surface.height, np.zeros(SHAPE, np.float32), rounded=False)
    smooth = cv2.GaussianBlur(light, (0, 0), 25 * PX_PER_MM)
    lit = cv2.GaussianBlur(surface.albedo * (light / smooth)[..., None], (0, 0), rng.uniform(0.3, 1.2))
    return _planes_of(lit.astype(np.float32))


def photographed_texture(rng: Rng, photograph: Path) -> NDArray[np.float16]:
    """A texture as ``draw_texture`` gives it, from a part of a photograph of a material; ValueError if unreadable."""
    bgr = cv2.imread(str(photograph), cv2.IMREAD_COLOR)
    if bgr is None:
        msg = f"cannot read {photograph}"
        raise ValueError(msg)
    linear = decode_srgb8(np.ascontiguousarray(bgr[:, :, ::-1], np.uint8))
    width = int(min(rng.uniform(*_CUT_PX), linear.shape[1], linear.shape[0] * SHAPE[1] / SHAPE[0]))
    height = int(width * SHAPE[0] / SHAPE[1])
    top, left = (
        int(rng.integers(0, max(1, a - b + 1))) for a, b in zip(linear.shape[:2], (height, width), strict=True)
    )
    part = cv2.resize(linear[top : top + height, left : left + width], SHAPE[::-1], interpolation=cv2.INTER_AREA)
    level = np.maximum(cv2.GaussianBlur(part, (0, 0), 25 * PX_PER_MM), 1e-3).mean(axis=2, keepdims=True)
    return _planes_of((0.3 * part / level).astype(np.float32))


def _planes_of(linear_rgb: NDArray[np.float32]) -> NDArray[np.float16]:
    planes = face_planes(linear_rgb, np.ones(SHAPE, np.bool_), PX_PER_MM)
    logs = planes.logs - np.median(planes.logs, axis=(0, 1))
    return np.concatenate([logs, planes.detail[..., None]], axis=2).transpose(2, 0, 1).astype(np.float16)
