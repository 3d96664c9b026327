"""Colour conversions: sRGB to linear light and back, relative luminance.

The transfer function is that of IEC 61966-2-1 (sRGB).
"""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

#: Weights of linear red, green and blue in luminance (IEC 61966-2-1 / ITU-R BT.709 primaries, D65).
LUMINANCE_WEIGHTS = (0.2126, 0.7152, 0.0722)


def srgb_to_linear(srgb: NDArray[np.floating]) -> NDArray[np.float64]:
    """Linear light, 0-1, from sRGB values 0-1 (IEC 61966-2-1)."""
    value = np.asarray(srgb, np.float64)
    return np.where(value <= 0.04045, value / 12.92, ((np.maximum(value, 0.0) + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(linear: NDArray[np.floating]) -> NDArray[np.float64]:
    """SRGB values 0-1 from linear light (IEC 61966-2-1); light outside 0-1 is clipped."""
    value = np.clip(np.asarray(linear, np.float64), 0.0, 1.0)
    return np.where(value <= 0.0031308, value * 12.92, 1.055 * value ** (1 / 2.4) - 0.055)


@cache
def _decode_table() -> NDArray[np.float32]:
    return srgb_to_linear(np.arange(256) / 255.0).astype(np.float32)


@cache
def _encode_table() -> NDArray[np.uint8]:
    return np.round(255 * linear_to_srgb(np.arange(4096) / 4095.0)).astype(np.uint8)


def decode_srgb8(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Linear light (float32, 0-1, same shape) from 8-bit sRGB."""
    table = _decode_table()
    return np.asarray(cv2.LUT(rgb, table) if rgb.ndim >= 2 and rgb.size else table[rgb], np.float32)


def encode_srgb8(linear: NDArray[np.floating]) -> NDArray[np.uint8]:
    """8-bit sRGB, within one level of the exact value, from linear light 0-1 (same shape); light outside is clipped."""
    index = np.clip(np.asarray(linear, np.float32) * 4095.0 + 0.5, 0, 4095).astype(np.uint16)
    return np.asarray(_encode_table()[index], np.uint8)


def grey_of(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Grey picture (H, W) from 8-bit sRGB (H, W, 3)."""
    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)


def luminance(linear: NDArray[np.floating]) -> NDArray[np.floating]:
    """Relative luminance (H, W) of linear RGB (H, W, 3)."""
    red, green, blue = LUMINANCE_WEIGHTS
    return np.asarray(linear[..., 0] * red + linear[..., 1] * green + linear[..., 2] * blue)
