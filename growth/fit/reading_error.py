"""Error of readings judged by eye, learned from their scatter about the fitted curves of the whole farm."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growth.fit.law_average import even_draws
from growth.fit.pooled import LawFit
from growth.laws import share_at

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

_DRAWS = 64  # of each vessel: its curve is itself unsure, which is no error of a reading
_USUAL_COUNTS = 30.0  # readings that the usual error counts for
_TELLING = (0.1, 0.9)  # shares where an error shows; before growth and after it everybody reads nothing and all


def error_factor(laws: Mapping[str, Index], fits: Mapping[str, LawFit], weight: Array, pool_weight: Array) -> float:
    """Factor on the spread of readings judged by eye: one step of expectation-maximisation.

    weight (P, L): of each law for each phase; pool_weight (P,): 0 for phases that are left out.
    """
    square = count = 0.0
    for column, (name, rows) in enumerate(laws.items()):
        fit = fits[name]
        asked = np.flatnonzero(fit.farm.readings.judged.any(axis=1) & (pool_weight[rows] > 0))
        if len(asked):
            found = _scatter(fit, asked, weight[rows[asked], column])
            square, count = square + found[0], count + found[1]
    return float(np.sqrt((_USUAL_COUNTS + square) / (_USUAL_COUNTS + count)))


def _scatter(fit: LawFit, asked: Index, weight: Array) -> tuple[float, float]:
    """Sum of squared deviations, in spreads, and the number of readings in it. Gross errors hardly count."""
    readings = fit.farm.readings.take(asked)
    kept = even_draws(fit.draws.theta[asked, :, 0], fit.draws.log_weight[asked], _DRAWS)
    theta = np.take_along_axis(fit.draws.theta[asked], kept[:, :, None], axis=1)
    expected = share_at(fit.law, readings.days[:, None, :], theta)
    square = np.square((readings.share[:, None, :] - expected) / readings.spread[:, None, :])
    right = (1.0 - fit.wrong_share) * np.exp(-0.5 * square) / (np.sqrt(2.0 * np.pi) * readings.spread[:, None, :])
    belief = right / (right + fit.wrong_share)
    telling = (expected > _TELLING[0]) & (expected < _TELLING[1]) & readings.judged[:, None, :]
    belief = belief * telling * weight[:, None, None] / _DRAWS
    return float((belief * square).sum()), float(belief.sum())
