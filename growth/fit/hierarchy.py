"""Pooling by closed form: vessel in batch in group, all Gaussian, spreads learned by expectation-maximisation.

The parameters of a vessel are ``theta`` (4). Within a batch they scatter by ``within`` about the batch's mean, batches
scatter by ``between`` about the group's mean, and the group's mean starts from the species table. The information in a
vessel's readings comes as a Gaussian *site* in information form (precision, and precision times mean), as in
expectation propagation. So all work here is batched sums and inverses of 4x4 matrices. A site of zeros carries no
information.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

_EM_PASSES = 3  # each time; later calls go on from the spreads learned before


@dataclass(frozen=True)
class Prior:
    """Prior of a group: mean (G, 4) and covariance (4, 4) of its mean, and usual spreads with their weights.

    ``*_strength``: number of vessels (or batches) that the usual spread counts for when the farm's own is learned.
    ``known``: the spreads were learned before and stay fixed. Covariance and spreads may differ by group (G, 4, 4).
    """

    mean: Array
    covariance: Array
    within: Array
    between: Array
    within_strength: float = 4.0
    between_strength: float = 6.0
    known: bool = False


@dataclass(frozen=True)
class Pool:
    """Prior of each vessel from the rest of the farm: mean (V, 4) and covariance (V, 4, 4) of its parameters.

    The vessel's own site is left out. ``group_*``: posterior of each group's mean; ``rest_*``: the same for each batch
    (N, ...) without the sites of that batch; ``within``, ``between`` (G, 4, 4): learned spreads.
    """

    mean: Array
    covariance: Array
    group_mean: Array
    group_covariance: Array
    rest_mean: Array
    rest_covariance: Array
    batch_mean: Array
    batch_covariance: Array
    within: Array
    between: Array


@dataclass(frozen=True)
class Tree:
    """Which batch each vessel belongs to, and which group each batch belongs to."""

    batch_of_vessel: Index
    group_of_batch: Index
    n_groups: int

    @property
    def n_batches(self) -> int:
        """Number of batches."""
        return len(self.group_of_batch)

    def apart(self) -> "Tree":
        """The same with each batch a group of its own."""
        return Tree(self.batch_of_vessel, np.arange(self.n_batches), self.n_batches)


@dataclass(frozen=True)
class Sites:
    """Information in each vessel's readings: precision (V, 4, 4), shift (V, 4); and pool_weight (V,), 0-1.

    A vessel that follows another law, or none, has a small pool_weight: its prior comes from the pool, but it changes
    the pool little.
    """

    precision: Array
    shift: Array
    pool_weight: Array


def pool(sites: Sites, tree: Tree, prior: Prior, before: Pool | None = None) -> Pool:
    """Learn the spreads from the vessels' sites, and give each vessel's prior.

    ``before``: an earlier pool of the same farm, whose spreads are where the learning starts; None means the usual
    ones.
    """
    shape = tree.n_groups, *prior.within.shape[-2:]
    within = np.broadcast_to(prior.within, shape) if before is None else before.within
    between = np.broadcast_to(prior.between, shape) if before is None else before.between
    heard = sites.pool_weight * (np.trace(sites.precision, axis1=1, axis2=2) > 0)
    for _ in range(_EM_PASSES if heard.any() and not prior.known else 0):
        beliefs = _upward_and_down(sites, tree, prior, within, between)
        within = _learn_within(sites, heard, tree, prior, beliefs, within)
        between = _learn_between(heard, tree, prior, beliefs)
    beliefs = _upward_and_down(sites, tree, prior, within, between)
    return _leave_one_out(tree, beliefs, within, between)


@dataclass(frozen=True)
class _Beliefs:
    message: Array  # vessel -> batch, precision (V, 4, 4)
    message_shift: Array
    batch_message: Array  # batch -> group (N, 4, 4)
    batch_message_shift: Array
    batch_prior: Array  # group without the batch -> batch, precision (N, 4, 4)
    batch_prior_shift: Array
    group_mean: Array
    group_covariance: Array
    rest_mean: Array  # group without the batch (N, 4), and its covariance (N, 4, 4)
    rest_covariance: Array
    batch_mean: Array
    batch_covariance: Array
    effect_mean: Array  # batch mean less group mean (N, 4)
    effect_square: Array  # its second moment (N, 4, 4)


def _upward_and_down(sites: Sites, tree: Tree, prior: Prior, within: Array, between: Array) -> _Beliefs:
    group_of_vessel = tree.group_of_batch[tree.batch_of_vessel]
    message, message_shift = _marginalise(sites.precision, sites.shift, within[group_of_vessel])
    message, message_shift = message * sites.pool_weight[:, None, None], message_shift * sites.pool_weight[:, None]
    batch, batch_shift = _sum_by(message, message_shift, tree.batch_of_vessel, tree.n_batches)
    up, up_shift = _marginalise(batch, batch_shift, between[tree.group_of_batch])
    group, group_shift = _sum_by(up, up_shift, tree.group_of_batch, tree.n_groups)
    start = np.linalg.inv(prior.covariance)
    group, group_shift = group + start, group_shift + _times(start, prior.mean)
    group_covariance = _inverse(group)
    group_mean = _times(group_covariance, group_shift)
    # posterior of the group without each batch, passed down to that batch
    rest_covariance = _inverse(group[tree.group_of_batch] - up)
    rest_mean = _times(rest_covariance, group_shift[tree.group_of_batch] - up_shift)
    batch_prior = _inverse(rest_covariance + between[tree.group_of_batch])
    batch_prior_shift = _times(batch_prior, rest_mean)
    batch_covariance = _inverse(batch_prior + batch)
    batch_mean = _times(batch_covariance, batch_prior_shift + batch_shift)
    effect_mean, effect_square = _effects(
        batch,
        batch_shift,
        between[tree.group_of_batch],
        group_mean[tree.group_of_batch],
        group_covariance[tree.group_of_batch],
    )
    return _Beliefs(
        message, message_shift, batch, batch_shift, batch_prior, batch_prior_shift,
        group_mean, group_covariance, rest_mean, rest_covariance, batch_mean, batch_covariance,
        effect_mean, effect_square,
    )  # fmt: skip


def _leave_one_out(tree: Tree, beliefs: _Beliefs, within: Array, between: Array) -> Pool:
    of = tree.batch_of_vessel
    rest = beliefs.batch_prior[of] + beliefs.batch_message[of] - beliefs.message
    rest_shift = beliefs.batch_prior_shift[of] + beliefs.batch_message_shift[of] - beliefs.message_shift
    covariance = _inverse(rest)
    return Pool(
        mean=_times(covariance, rest_shift),
        covariance=covariance + within[tree.group_of_batch[of]],
        group_mean=beliefs.group_mean,
        group_covariance=beliefs.group_covariance,
        rest_mean=beliefs.rest_mean,
        rest_covariance=beliefs.rest_covariance,
        batch_mean=beliefs.batch_mean,
        batch_covariance=beliefs.batch_covariance,
        within=within,
        between=between,
    )


def spread_parts(sites: Sites, tree: Tree, pooled: Pool, extra: Array) -> tuple[Array, Array, Array]:
    """Covariance of each vessel's parameters, split into its own, its batch's and its group's part, each (V, 4, 4).

    The second is shared by all vessels of a batch, the third by all of a group. ``extra`` (V, 4, 4): scatter of a
    vessel about its batch's mean beyond the learned spread (after a shake, or at another temperature).
    """
    group = tree.group_of_batch[tree.batch_of_vessel]
    loose = _inverse(pooled.within[group] + extra)
    own = _inverse(sites.precision + loose)
    lever = own @ loose
    message, _ = _marginalise(sites.precision, sites.shift, pooled.within[group])
    total, _ = _sum_by(message * sites.pool_weight[:, None, None], sites.shift, tree.batch_of_vessel, tree.n_batches)
    between = _inverse(pooled.between[tree.group_of_batch])
    batch = _inverse(total + between)
    group_lever = lever @ (batch @ between)[tree.batch_of_vessel]
    batch_part = lever @ batch[tree.batch_of_vessel] @ np.swapaxes(lever, 1, 2)
    group_part = group_lever @ pooled.group_covariance[group] @ np.swapaxes(group_lever, 1, 2)
    return own, batch_part, group_part


def _learn_within(sites: Sites, heard: Array, tree: Tree, prior: Prior, beliefs: _Beliefs, within: Array) -> Array:
    batch = tree.batch_of_vessel
    group = tree.group_of_batch[batch]
    _, square = _effects(
        sites.precision, sites.shift, within[group], beliefs.batch_mean[batch], beliefs.batch_covariance[batch]
    )
    return _shrunk_spread(square, heard, group, tree.n_groups, prior.within, prior.within_strength)


def _learn_between(heard: Array, tree: Tree, prior: Prior, beliefs: _Beliefs) -> Array:
    known = np.minimum(np.bincount(tree.batch_of_vessel, weights=heard, minlength=tree.n_batches), 1.0)
    return _shrunk_spread(
        beliefs.effect_square, known, tree.group_of_batch, tree.n_groups, prior.between, prior.between_strength
    )


def _shrunk_spread(square: Array, weight: Array, group: Index, n_groups: int, usual: Array, strength: float) -> Array:
    """Spread of each group from weighted second moments, shrunk to the farm's, which is shrunk to the usual one."""
    total = np.zeros((n_groups, *usual.shape))
    np.add.at(total, group, square * weight[:, None, None])
    count = np.bincount(group, weights=weight, minlength=n_groups)
    farm = (total.sum(axis=0) + strength * usual) / (count.sum() + strength)
    return np.asarray((total + strength * farm) / (count + strength)[:, None, None])


def _effects(
    precision: Array, shift: Array, spread: Array, centre: Array, centre_covariance: Array
) -> tuple[Array, Array]:
    """Mean and second moment of (member - centre), given the member's site, its spread and the centre's posterior."""
    conditional = _inverse(precision + _inverse(spread))
    mean = _times(conditional, shift - _times(precision, centre))
    lever = conditional @ precision
    square = conditional + lever @ centre_covariance @ np.swapaxes(lever, -1, -2) + mean[:, :, None] * mean[:, None, :]
    return mean, square


def _marginalise(precision: Array, shift: Array, spread: Array) -> tuple[Array, Array]:
    """Message to the centre from a member seen through ``precision`` and scattered by ``spread``."""
    keep = np.linalg.inv(np.eye(precision.shape[-1]) + precision @ spread)
    message = keep @ precision
    return 0.5 * (message + np.swapaxes(message, -1, -2)), _times(keep, shift)


def _sum_by(precision: Array, shift: Array, index: Index, n: int) -> tuple[Array, Array]:
    total = np.zeros((n, *precision.shape[1:]))
    total_shift = np.zeros((n, shift.shape[-1]))
    np.add.at(total, index, precision)
    np.add.at(total_shift, index, shift)
    return total, total_shift


def _inverse(matrix: Array) -> Array:
    inverse = np.linalg.inv(matrix)
    return 0.5 * (inverse + np.swapaxes(inverse, -1, -2))


def _times(matrix: Array, vector: Array) -> Array:
    return np.asarray(np.einsum("...ij,...j->...i", matrix, vector))
