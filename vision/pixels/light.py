"""Linear light of a photo, relative to a perfect matt white; and the camera's tone curve, undone and applied."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels.colour import decode_srgb8, encode_srgb8
from vision.pixels.shrink import reduced

#: Cameras compress the highlights: linear up to this value, then an exponential shoulder towards 1. A common form of
#: tone curve. The knee was set from the grey patches of rendered photos, so it is an assumption for other cameras.
SHOULDER_KNEE = 0.5
#: Measured light above this is too close to clipping; the shoulder cannot be undone there.
SHOULDER_LIMIT = 0.975

#: A saved picture stores light times this, so that highlights slightly brighter than white are not clipped.
SAVED_WHITE = 0.83


def undo_shoulder(linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Scene light, 0 to about 2, from measured light 0-1 (same shape): the inverse of the tone curve's shoulder."""
    measured = np.minimum(np.asarray(linear, np.float32), SHOULDER_LIMIT)
    room = 1.0 - SHOULDER_KNEE
    above = np.maximum(measured - SHOULDER_KNEE, 0.0)
    return np.asarray(np.minimum(measured, SHOULDER_KNEE) - room * np.log1p(-above / room), np.float32)


def apply_shoulder(light: NDArray[np.floating]) -> NDArray[np.float32]:
    """Measured light 0-1 from scene light (same shape): the inverse of ``undo_shoulder``."""
    scene = np.asarray(light, np.float32)
    room = 1.0 - SHOULDER_KNEE
    above = np.maximum(scene - SHOULDER_KNEE, 0.0)
    return np.asarray(np.minimum(scene, SHOULDER_KNEE) + room * (1.0 - np.exp(-above / room)), np.float32)


@dataclass(frozen=True, eq=False)
class LinearPicture:
    """An 8-bit picture with a lookup table to linear light, so that only the part and size in use is converted.

    rgb: uint8 (rows, columns, 3). table: float32 (1, 256, 3), light for each level and channel, 1.0 = matt white.
    """

    rgb: NDArray[np.uint8]
    table: NDArray[np.float32]

    def light(self, part: tuple[slice, slice] | None = None) -> NDArray[np.float32]:
        """Linear light (rows, columns, 3) of the picture or of a part of it."""
        return np.asarray(cv2.LUT(self.rgb if part is None else self.rgb[part], self.table), np.float32)

    def reduced(self, factor: float) -> NDArray[np.float32]:
        """Linear light of the picture, scaled down by a factor below 1."""
        return self.resized((max(1, round(self.rgb.shape[0] * factor)), max(1, round(self.rgb.shape[1] * factor))))

    def resized(self, shape: tuple[int, int]) -> NDArray[np.float32]:
        """Linear light of the picture, resized to (rows, columns)."""
        return np.asarray(cv2.LUT(reduced(self.rgb, shape), self.table), np.float32)

    def encoded(self) -> NDArray[np.uint8]:
        """The picture as it is saved: 8-bit sRGB of its light times ``SAVED_WHITE``."""
        table = cv2.split(encode_srgb8(self.table * np.float32(SAVED_WHITE)))
        # Channel by channel in half the time.
        channels = [cv2.LUT(plane, column) for plane, column in zip(cv2.split(self.rgb), table, strict=True)]
        return np.asarray(cv2.merge(channels), np.uint8)


def lit(rgb: NDArray[np.uint8], white: NDArray[np.float64]) -> LinearPicture:
    """A photo as linear light, tone curve undone, scaled so that ``white`` (light (3,), 1.0 = full scale) becomes 1."""
    levels = undo_shoulder(decode_srgb8(np.arange(256, dtype=np.uint8).reshape(1, 256))).reshape(1, 256, 1)
    table = levels / np.maximum(white, 1e-4).astype(np.float32)
    return LinearPicture(rgb, np.ascontiguousarray(table, np.float32))


def linear_from_saved(saved: NDArray[np.uint8]) -> LinearPicture:
    """Linear light of a saved picture: the inverse of ``LinearPicture.encoded``."""
    levels = decode_srgb8(np.arange(256, dtype=np.uint8).reshape(1, 256)).reshape(1, 256, 1)
    return LinearPicture(saved, np.repeat(levels / np.float32(SAVED_WHITE), 3, axis=2))


def to_lab(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """CIE Lab (D65) from linear light (rows, columns, 3); light above white is clipped to white."""
    return np.asarray(cv2.cvtColor(np.clip(light, 0.0, 1.0).astype(np.float32), cv2.COLOR_LRGB2LAB), np.float32)
