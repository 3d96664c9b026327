"""Smooth random fields: the raw stuff of textures, light and growth."""

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]
Rng = np.random.Generator


def smooth_noise(rng: Rng, shape: tuple[int, int], cell_px: float) -> Field:
    """Noise of mean 0 and standard deviation about 1, (H, W), that changes over about ``cell_px`` pixels."""
    rows, columns = (max(2, int(np.ceil(n / max(cell_px, 1.0))) + 3) for n in shape)
    coarse = rng.standard_normal((rows, columns)).astype(np.float32)
    if cell_px <= 1:
        return coarse[: shape[0], : shape[1]]
    size = (max(2, int(columns * cell_px)), max(2, int(rows * cell_px)))
    large = cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC)
    top, left = (int(rng.integers(0, max(1, large.shape[i] - shape[i]))) for i in (0, 1))
    out = large[top : top + shape[0], left : left + shape[1]]
    if out.shape != shape:
        out = cv2.resize(out, shape[::-1])
    return out / np.float32(out.std() + 1e-6)


def rough_noise(rng: Rng, shape: tuple[int, int], cell_px: float, octaves: int = 4, decay: float = 0.6) -> Field:
    """Sum of ``octaves`` of smooth noise, each half as wide and ``decay`` as strong; standard deviation about 1."""
    out = np.zeros(shape, np.float32)
    for octave in range(octaves):
        out += np.float32(decay**octave) * smooth_noise(rng, shape, cell_px / 2**octave)
    return out / np.float32(out.std() + 1e-6)


def ridges(rng: Rng, shape: tuple[int, int], cell_px: float) -> Field:
    """Thin winding lines: 1 on a line, falling to 0 away from it."""
    return np.exp(-np.abs(rough_noise(rng, shape, cell_px, 3)) * 6).astype(np.float32)


def stretched_noise(rng: Rng, shape: tuple[int, int], cell_px: float, ratio: float, degrees: float) -> Field:
    """Smooth noise that is ``ratio`` times longer along one direction than across it."""
    side = int(1.5 * max(shape)) + 4
    base = smooth_noise(rng, (side, max(8, int(side / ratio))), cell_px)
    square = cv2.resize(base, (side, side), interpolation=cv2.INTER_LINEAR)
    turn = cv2.getRotationMatrix2D((side / 2, side / 2), degrees, 1.0)
    turned = cv2.warpAffine(square, turn, (side, side), borderMode=cv2.BORDER_REFLECT)
    top, left = (side - shape[0]) // 2, (side - shape[1]) // 2
    return np.asarray(turned[top : top + shape[0], left : left + shape[1]], np.float32)
