"""Combine a photo with the earlier ones of its phase: a colonised point stays colonised."""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels import box_of

#: Limit of the log odds that one photo contributes at one point: a reflection can look very certain.
_MAX_LOG_ODDS = 4.0
#: Limit of the log odds of all photos so far, and the step in which they are kept: two photos can overrule any number.
_MAX_KEPT, _STEP = 8.0, 1 / 15
#: Probabilities are clipped to this distance from 0 and 1.
_MIN_PROBABILITY = 1e-3
#: Scale at which days are compared, px per mm: faces of different days are aligned to a millimetre or two.
COMPARED_PX_PER_MM = 1.0

Odds = NDArray[np.int8]


def with_earlier(probability: NDArray[np.float32], earlier: Odds) -> NDArray[np.float32]:
    """A day's probability map (H, W), given the odds of the days before it; where it is 0, it stays 0.

    The forward message of a two-state hidden Markov model whose colonised state is absorbing, with the same weight for
    each day of colonisation and for none (Rabiner 1989, Proc. IEEE 77:257-286; from memory). Later photos have no say,
    so a reading does not change when the next photo comes.
    """
    part = box_of(probability > 0)
    forward = cv2.resize(_softplus_of(earlier), probability.shape[::-1], interpolation=cv2.INTER_LINEAR)
    odds = _log_odds(probability[part]) + forward[part]
    steady = np.zeros_like(probability)
    steady[part] = (probability[part] > 0) / (1 + np.exp(-odds))
    return steady


def odds_after(
    probability: NDArray[np.float32], usable: NDArray[np.bool_], px_per_mm: float, earlier: Odds | None
) -> Odds:
    """Log odds of colonised after a day, at ``COMPARED_PX_PER_MM``, as whole steps.

    earlier: those after the day before. usable: True where the photo gives evidence (inside the face, not veiled, no
    suspect). All maps have one shape.
    """
    odds = _evidence(probability, usable, compared_size(probability.shape, px_per_mm))
    if earlier is not None:
        odds = odds + _softplus_of(earlier)
    return np.asarray(np.round(np.clip(odds, -_MAX_KEPT, _MAX_KEPT) / _STEP), np.int8)


def compared_size(shape: tuple[int, ...], px_per_mm: float) -> tuple[int, int]:
    """Columns and rows of a face at the scale at which days are compared."""
    factor = min(1.0, COMPARED_PX_PER_MM / px_per_mm)
    return max(1, round(shape[1] * factor)), max(1, round(shape[0] * factor))


def _softplus_of(kept: Odds) -> NDArray[np.float32]:
    """log(1 + exp(odds)): the odds that a point is colonised by the day after, before that day's photo."""
    return np.asarray(_softplus_table()[kept.view(np.uint8)], np.float32)


@cache
def _softplus_table() -> NDArray[np.float32]:
    """For each of the 256 odds that can be kept, in the order of their bytes."""
    odds = np.arange(256, dtype=np.uint8).view(np.int8).astype(np.float32) * np.float32(_STEP)
    return np.asarray(np.logaddexp(np.float32(0), odds), np.float32)


def _log_odds(probability: NDArray[np.float32]) -> NDArray[np.float32]:
    sure = np.clip(probability, _MIN_PROBABILITY, 1 - _MIN_PROBABILITY)
    return np.asarray(np.log(sure / (1 - sure)), np.float32)


def _evidence(
    probability: NDArray[np.float32], usable: NDArray[np.bool_], size: tuple[int, int]
) -> NDArray[np.float32]:
    """Log odds of colonised at each compared point, clipped; 0 where there is no evidence."""
    weight = np.asarray(cv2.resize(usable.astype(np.float32), size, interpolation=cv2.INTER_AREA))
    total = np.asarray(cv2.resize(probability * usable, size, interpolation=cv2.INTER_AREA))
    odds = _log_odds(np.asarray(total / np.maximum(weight, 1e-3), np.float32))
    return np.asarray(np.clip(odds, -_MAX_LOG_ODDS, _MAX_LOG_ODDS) * (weight > 0.5), np.float32)
