"""Averaging over growth laws by evidence, and quantiles of the averaged draws."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

_EM_PASSES = 40
_EQUAL_VESSELS = 2.0  # weight, in vessels, of the prior that all laws are equally common in a group


def law_shares(log_evidence: Array, group: Index, counts: NDArray[np.bool_], n_groups: int) -> Array:
    """Share of vessels that follow each law in each group (G, L), by expectation-maximisation.

    ``log_evidence`` (V, L) is -inf where a law does not apply. Learned from the vessels that ``counts`` marks True.
    """
    applies = np.isfinite(log_evidence)
    applicable = np.zeros((n_groups, log_evidence.shape[1]))
    np.maximum.at(applicable, group, applies.astype(float))
    applicable = np.maximum(applicable, 1e-12)
    start = applicable / applicable.sum(axis=1, keepdims=True)
    common = start
    for _ in range(_EM_PASSES):
        weight = _softmax(log_evidence + np.log(common[group]))
        total = _EQUAL_VESSELS * start
        np.add.at(total, group[counts], weight[counts])
        common = total / total.sum(axis=1, keepdims=True)
    return np.asarray(common)


def law_weights(log_evidence: Array, share: Array) -> tuple[Array, Array]:
    """Weight of each law for each vessel (V, L), and the log evidence (V,) of the average.

    ``log_evidence`` (V, L) is -inf where a law does not apply; ``share`` (V, L): of the vessels of its group that
    follow each law.
    """
    joint = log_evidence + np.log(share)
    return _softmax(joint), np.logaddexp.reduce(joint, axis=1)


def weighted_quantiles(values: Array, log_weight: Array, levels: Array) -> Array:
    """Quantiles (V, Q) of weighted draws (V, S). ``levels``: (Q,), or (V, Q) where each row has its own."""
    order = np.argsort(values, axis=1)
    ordered = np.take_along_axis(values, order, axis=1)
    weight = np.exp(np.take_along_axis(log_weight, order, axis=1))
    reached = np.cumsum(weight, axis=1) - 0.5 * weight
    reached /= weight.sum(axis=1, keepdims=True)
    at = np.broadcast_to(levels, (len(values), levels.shape[-1]))
    return np.array([np.interp(a, r, v) for a, r, v in zip(at, reached, ordered, strict=True)])


def even_draws(values: Array, log_weight: Array, n: int) -> Index:
    """Columns (V, n) of draws with equal weight each, evenly spaced in the order of ``values`` (V, S)."""
    order = np.argsort(values, axis=1)
    reached = np.cumsum(np.exp(np.take_along_axis(log_weight, order, axis=1)), axis=1)
    reached /= reached[:, -1:]
    levels = (np.arange(n) + 0.5) / n
    place = np.array([np.searchsorted(row, levels) for row in reached])
    return np.take_along_axis(order, np.minimum(place, values.shape[1] - 1), axis=1)


def _softmax(log_weight: Array) -> Array:
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))
