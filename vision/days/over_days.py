"""What a vessel's photos say together of each point of its face: mycelium, once there, stays."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

#: Most that one photo may say about one point, natural log of the odds: a reflection can be very sure of itself.
_MOST_SAID = 4.0
#: A probability counts as no surer than this far from 0 or 1.
_SUREST = 1e-3
#: Scale at which days are compared, px per mm: faces of different days lie on each other to a millimetre or two.
COMPARED_PX_PER_MM = 1.0


def steady_growth(
    probability: Sequence[NDArray[np.float32]], heard: Sequence[NDArray[np.bool_]], px_per_mm: float
) -> list[NDArray[np.float32]]:
    """Probability maps (H, W) of one phase in order of time, given that a point once colonised stays so.

    To each map is added, in log odds, what all other photos say of that day: the forward and backward messages of a
    chain of two states that is never left (Rabiner 1989, Proc. IEEE 77:257-286; from memory), every day of
    colonisation, or none, held as likely beforehand. heard: True where a photo says anything (inside the face, not
    veiled, no suspect). All maps have one shape; where one is 0, as outside the face, it stays 0.
    """
    part = _with_growth(probability, max(1, round(px_per_mm / COMPARED_PX_PER_MM)))
    size = _compared_size(probability[0][part].shape, px_per_mm)
    said = np.stack([_said(p[part], h[part], size) for p, h in zip(probability, heard, strict=True)])
    steady = [np.zeros_like(p) for p in probability]
    for whole, p, other in zip(steady, probability, _said_by_others(said), strict=True):
        whole[part] = _with_others(p[part], other)
    return steady


def _with_growth(probability: Sequence[NDArray[np.float32]], step: int) -> tuple[slice, slice]:
    """Rows and columns outside of which all maps are 0, in whole compared points of ``step`` px."""
    some = np.any([p > 0 for p in probability], axis=0)
    left, top, width, height = cv2.boundingRect(some.astype(np.uint8))
    rows, columns = (
        slice(first // step * step, max(step, -(-(first + length) // step) * step))
        for first, length in ((top, height), (left, width))
    )
    return rows, columns


def _said_by_others(said: NDArray[np.float32]) -> NDArray[np.float32]:
    """Log odds, for each day and point (days, h, w), of being colonised, by what is said on all other days."""
    # By the first day on which a point is colonised, and by none: the log likelihood but for a common term. What is
    # left of a sum that vanishes still is surer than any photo; sums of logarithms (np.logaddexp) take thrice as long.
    by_onset = np.concatenate([np.cumsum(said[::-1], axis=0)[::-1], np.zeros((1, *said.shape[1:]), np.float32)])
    likely = np.exp(by_onset - by_onset.max(axis=0))
    colonised = np.cumsum(likely, axis=0)[:-1]
    bare = np.cumsum(likely[::-1], axis=0)[::-1][1:]
    return np.asarray(np.log(np.maximum(colonised, 1e-12)) - np.log(np.maximum(bare, 1e-12)) - said, np.float32)


def _compared_size(shape: tuple[int, ...], px_per_mm: float) -> tuple[int, int]:
    factor = min(1.0, COMPARED_PX_PER_MM / px_per_mm)
    return max(1, round(shape[1] * factor)), max(1, round(shape[0] * factor))


def _log_odds(probability: NDArray[np.float32]) -> NDArray[np.float32]:
    sure = np.clip(probability, _SUREST, 1 - _SUREST)
    return np.asarray(np.log(sure / (1 - sure)), np.float32)


def _said(probability: NDArray[np.float32], heard: NDArray[np.bool_], size: tuple[int, int]) -> NDArray[np.float32]:
    """Log odds of colonised at each compared point, limited; 0 where nothing is said."""
    weight = np.asarray(cv2.resize(heard.astype(np.float32), size, interpolation=cv2.INTER_AREA))
    total = np.asarray(cv2.resize(probability * heard, size, interpolation=cv2.INTER_AREA))
    odds = _log_odds(np.asarray(total / np.maximum(weight, 1e-3), np.float32))
    return np.asarray(np.clip(odds, -_MOST_SAID, _MOST_SAID) * (weight > 0.5), np.float32)


def _with_others(probability: NDArray[np.float32], others: NDArray[np.float32]) -> NDArray[np.float32]:
    odds = _log_odds(probability) + cv2.resize(others, probability.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray((probability > 0) / (1 + np.exp(-odds)), np.float32)
