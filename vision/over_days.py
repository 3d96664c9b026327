"""What a vessel's photos say together of each point of its face: mycelium, once there, stays."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

#: Most that one photo may say about one point, natural log of the odds: a reflection can be very sure of itself.
_MOST_SAID = 2.5
#: Scale at which days are compared, px per mm: faces of different days lie on each other to a millimetre or two.
COMPARED_PX_PER_MM = 1.0


def steady_growth(
    probability: Sequence[NDArray[np.float32]], heard: Sequence[NDArray[np.bool_]], px_per_mm: float
) -> list[NDArray[np.float32]]:
    """Probability maps (H, W) of one phase in order of time, made to agree that a point once colonised stays so.

    For each point the day of colonisation is the one that makes what all photos say most likely. heard: True where a
    photo says anything (inside the face, not veiled, no suspect). Where a map disagrees with its neighbours in time
    it is moved just over the border; elsewhere it is unchanged. All maps have one shape.
    """
    size = _compared_size(probability[0].shape, px_per_mm)
    said = np.stack([_said(p, h, size) for p, h in zip(probability, heard, strict=True)])
    from_then_on = np.concatenate([np.cumsum(said[::-1], axis=0)[::-1], np.zeros((1, *said.shape[1:]), np.float32)])
    # Of equally likely days the latest: what nobody saw is not claimed.
    onset = len(said) - from_then_on[::-1].argmax(axis=0)
    return [
        _agreed(p, cv2.resize((onset <= day).astype(np.float32), p.shape[::-1], interpolation=cv2.INTER_LINEAR))
        for day, p in enumerate(probability)
    ]


def _compared_size(shape: tuple[int, ...], px_per_mm: float) -> tuple[int, int]:
    factor = min(1.0, COMPARED_PX_PER_MM / px_per_mm)
    return max(1, round(shape[1] * factor)), max(1, round(shape[0] * factor))


def _said(probability: NDArray[np.float32], heard: NDArray[np.bool_], size: tuple[int, int]) -> NDArray[np.float32]:
    """Log odds of colonised at each compared point, limited; 0 where nothing is said."""
    weight = np.asarray(cv2.resize(heard.astype(np.float32), size, interpolation=cv2.INTER_AREA))
    mean = np.asarray(cv2.resize(probability * heard, size, interpolation=cv2.INTER_AREA)) / np.maximum(weight, 1e-3)
    mean = np.clip(mean, 1e-3, 1 - 1e-3)
    odds = np.clip(np.log(mean / (1 - mean)), -_MOST_SAID, _MOST_SAID)
    return np.asarray(odds * (weight > 0.5), np.float32)


def _agreed(probability: NDArray[np.float32], colonised: NDArray[np.floating]) -> NDArray[np.float32]:
    moved = np.where(colonised > 0.5, np.maximum(probability, 0.55), np.minimum(probability, 0.45))
    return np.asarray(moved * (probability > 0), np.float32)
