"""Combine the photos of one phase under the constraint that a colonised point stays colonised."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

#: Limit of the log odds that one photo contributes at one point: a reflection can look very certain.
_MAX_LOG_ODDS = 4.0
#: Probabilities are clipped to this distance from 0 and 1.
_MIN_PROBABILITY = 1e-3
#: Scale at which days are compared, px per mm: faces of different days are aligned to a millimetre or two.
COMPARED_PX_PER_MM = 1.0


def monotone_growth(
    probability: Sequence[NDArray[np.float32]], usable: Sequence[NDArray[np.bool_]], px_per_mm: float
) -> list[NDArray[np.float32]]:
    """Probability maps (H, W) of one phase in order of time, given that a colonised point stays colonised.

    To the log odds of each map, the evidence of all other photos is added: the forward and backward messages of a
    two-state hidden Markov model whose colonised state is absorbing (Rabiner 1989, Proc. IEEE 77:257-286; from memory).
    The prior gives the same weight to each day of colonisation and to none. usable: True where a photo gives evidence
    (inside the face, not veiled, no suspect). All maps have one shape. Where a map is 0, as outside the face, it
    stays 0.
    """
    part = _with_growth(probability, max(1, round(px_per_mm / COMPARED_PX_PER_MM)))
    size = _compared_size(probability[0][part].shape, px_per_mm)
    evidence = np.stack([_evidence(p[part], h[part], size) for p, h in zip(probability, usable, strict=True)])
    monotone = [np.zeros_like(p) for p in probability]
    for whole, p, other in zip(monotone, probability, _evidence_of_others(evidence), strict=True):
        whole[part] = _with_others(p[part], other)
    return monotone


def _with_growth(probability: Sequence[NDArray[np.float32]], step: int) -> tuple[slice, slice]:
    """Rows and columns outside of which all maps are 0, in multiples of ``step`` px."""
    some = np.any([p > 0 for p in probability], axis=0)
    left, top, width, height = cv2.boundingRect(some.astype(np.uint8))
    rows, columns = (
        slice(first // step * step, max(step, -(-(first + length) // step) * step))
        for first, length in ((top, height), (left, width))
    )
    return rows, columns


def _evidence_of_others(evidence: NDArray[np.float32]) -> NDArray[np.float32]:
    """Log odds of colonised, for each day and point (days, h, w), from the evidence of all other days."""
    # Log likelihood for each first colonised day, and for none, up to a common term. Sums that underflow are floored at
    # 1e-12, which is still more certain than any photo; np.logaddexp would take three times as long.
    by_onset = np.concatenate([np.cumsum(evidence[::-1], axis=0)[::-1], np.zeros((1, *evidence.shape[1:]), np.float32)])
    likely = np.exp(by_onset - by_onset.max(axis=0))
    colonised = np.cumsum(likely, axis=0)[:-1]
    bare = np.cumsum(likely[::-1], axis=0)[::-1][1:]
    return np.asarray(np.log(np.maximum(colonised, 1e-12)) - np.log(np.maximum(bare, 1e-12)) - evidence, np.float32)


def _compared_size(shape: tuple[int, ...], px_per_mm: float) -> tuple[int, int]:
    factor = min(1.0, COMPARED_PX_PER_MM / px_per_mm)
    return max(1, round(shape[1] * factor)), max(1, round(shape[0] * factor))


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


def _with_others(probability: NDArray[np.float32], others: NDArray[np.float32]) -> NDArray[np.float32]:
    odds = _log_odds(probability) + cv2.resize(others, probability.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray((probability > 0) / (1 + np.exp(-odds)), np.float32)
