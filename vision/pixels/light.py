"""Exposure and white balance: what a perfect matt white would measure at a label, from its grey patches."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels.colour import decode_srgb8, encode_srgb8
from vision.pixels.shrink import reduced

#: Cameras bend the highlights: linear up to here, then an exponential shoulder towards 1. A common form of tone
#: curve; the knee was set from the grey patches of rendered photos, so it is an assumption for other cameras.
SHOULDER_KNEE = 0.5
#: Measured light above this is too near to clipping to be undone.
SHOULDER_LIMIT = 0.975

#: A kept picture stores light times this, so that what is a little brighter than white is not clipped.
KEPT_WHITE = 0.83


def undo_shoulder(linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Scene light of measured light 0-1 (same shape): the inverse of the tone curve's shoulder, 0 to about 2."""
    measured = np.minimum(np.asarray(linear, np.float32), SHOULDER_LIMIT)
    room = 1.0 - SHOULDER_KNEE
    above = np.maximum(measured - SHOULDER_KNEE, 0.0)
    return np.asarray(np.minimum(measured, SHOULDER_KNEE) - room * np.log1p(-above / room), np.float32)


def bend_shoulder(light: NDArray[np.floating]) -> NDArray[np.float32]:
    """Measured light 0-1 of scene light (same shape): the tone curve's shoulder, the inverse of ``undo_shoulder``."""
    scene = np.asarray(light, np.float32)
    room = 1.0 - SHOULDER_KNEE
    above = np.maximum(scene - SHOULDER_KNEE, 0.0)
    return np.asarray(np.minimum(scene, SHOULDER_KNEE) + room * (1.0 - np.exp(-above / room)), np.float32)


@dataclass(frozen=True, eq=False)
class LitPicture:
    """An 8-bit picture and how its levels become linear light, so that light is made only where and as fine as needed.

    rgb: uint8 (rows, columns, 3). table: float32 (1, 256, 3), light of each level in each channel, 1.0 = matt white.
    """

    rgb: NDArray[np.uint8]
    table: NDArray[np.float32]

    def light(self, part: tuple[slice, slice] | None = None) -> NDArray[np.float32]:
        """Linear light of the picture or of a part of it, (rows, columns, 3)."""
        return np.asarray(cv2.LUT(self.rgb if part is None else self.rgb[part], self.table), np.float32)

    def reduced(self, factor: float) -> NDArray[np.float32]:
        """Linear light of the picture averaged down by a factor below 1."""
        return self.resized((max(1, round(self.rgb.shape[0] * factor)), max(1, round(self.rgb.shape[1] * factor))))

    def resized(self, shape: tuple[int, int]) -> NDArray[np.float32]:
        """Linear light of the picture at another size (rows, columns)."""
        return np.asarray(cv2.LUT(reduced(self.rgb, shape), self.table), np.float32)

    def kept(self) -> NDArray[np.uint8]:
        """The picture as it is kept: 8-bit sRGB of its light times ``KEPT_WHITE``."""
        return np.asarray(cv2.LUT(self.rgb, encode_srgb8(self.table * np.float32(KEPT_WHITE))), np.uint8)


def lit(rgb: NDArray[np.uint8], white: NDArray[np.float64]) -> LitPicture:
    """A photo's picture with a perfect matt white (light (3,), 1.0 = full scale) brought to 1, tone curve undone."""
    levels = undo_shoulder(decode_srgb8(np.arange(256, dtype=np.uint8).reshape(1, 256))).reshape(1, 256, 1)
    table = levels / np.maximum(white, 1e-4).astype(np.float32)
    return LitPicture(rgb, np.ascontiguousarray(table, np.float32))


def lit_again(kept: NDArray[np.uint8]) -> LitPicture:
    """A kept picture as it was lit."""
    levels = decode_srgb8(np.arange(256, dtype=np.uint8).reshape(1, 256)).reshape(1, 256, 1)
    return LitPicture(kept, np.repeat(levels / np.float32(KEPT_WHITE), 3, axis=2))


def to_lab(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """CIE Lab (D65) of linear light (rows, columns, 3); light above white counts as white."""
    return np.asarray(cv2.cvtColor(np.clip(light, 0.0, 1.0).astype(np.float32), cv2.COLOR_LRGB2LAB), np.float32)
