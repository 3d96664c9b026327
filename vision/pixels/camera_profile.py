"""Correct the colours of a photo by the profile of its camera."""

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import CameraProfile
from vision.pixels.colour import decode_srgb8, encode_srgb8
from vision.pixels.light import apply_shoulder, undo_shoulder

_ROWS_AT_ONCE = 256


def apply_profile(rgb: NDArray[np.uint8], profile: CameraProfile | None) -> NDArray[np.uint8]:
    """The photo with corrected colours; the same array if there is no profile or the profile is the identity.

    The matrix was fitted after removing the camera's white balance. Here it is applied before the label gives the white
    balance; the difference is negligible where the camera balances well.
    """
    matrix = np.eye(3) if profile is None else np.array(profile.matrix)
    if profile is None or np.allclose(matrix, np.eye(3), atol=1e-3):
        return rgb
    corrected = np.empty_like(rgb)
    for start in range(0, len(rgb), _ROWS_AT_ONCE):
        rows = slice(start, start + _ROWS_AT_ONCE)
        light = decode_srgb8(rgb[rows])
        light = undo_shoulder(light) if profile.shoulder else light
        light = np.maximum(np.asarray(cv2.transform(light, matrix.astype(np.float32)), np.float32), 0.0)
        corrected[rows] = encode_srgb8(apply_shoulder(light) if profile.shoulder else light)
    return corrected
