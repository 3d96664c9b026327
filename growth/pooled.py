"""One law fitted to a whole farm: sampling of vessels and pooling over batches and groups, in turns."""

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from growth.bodies import Body, share_at
from growth.hierarchy import Pool, Prior, Tree, pool
from growth.sampling import Draws, Readings, draw, moments, site

Array = NDArray[np.float64]
Index = NDArray[np.intp]

#: Points for each phase in each round (powers of two); the last round is the one that is reported.
ROUNDS = (256, 256, 256, 256, 256, 256)
_EFFECTIVE = 40.0

# What a shake does to (log lag, log span, shape, tail) of what follows, and how unsure that is (standard deviations): it
# runs faster from many broken pieces. Common practice, no source.
SHAKE_SHIFT = np.array([-0.9, -0.5, 0.0, 0.0])
SHAKE_DOUBT = np.array([0.5, 0.3, 0.15, 0.3])


@dataclass(frozen=True)
class Farm:
    """All phases of a farm: their readings, places in the tree, which are shaken, known shifts of the prior (P, 4)."""

    readings: Readings
    tree: Tree
    shaken: NDArray[np.bool_]
    shift: Array

    def take(self, rows: Index) -> "Farm":
        """The same for some phases; batches and groups keep their numbers."""
        tree = Tree(self.tree.batch_of_vessel[rows], self.tree.group_of_batch, self.tree.n_groups)
        return Farm(self.readings.take(rows), tree, self.shaken[rows], self.shift[rows])


@dataclass(frozen=True)
class LawFit:
    """One law on one farm: the last draws of each phase, the pool, and the prior (P, 4), (P, 4, 4) each phase had."""

    body: Body
    draws: Draws
    pool: Pool
    prior: tuple[Array, Array]


def fit_farm(
    body: Body, farm: Farm, prior: Prior, wrong_share: float, left_out: NDArray[np.bool_] | None = None
) -> LawFit:
    """Fit one law to every phase; phases in ``left_out`` (True: stalled, say) take from the pool and give nothing."""
    n = len(farm.shaken)
    precision, shift = np.zeros((n, 4, 4)), np.zeros((n, 4))
    for n_points in ROUNDS:
        given = precision.copy(), shift.copy()
        if left_out is not None:
            given[0][left_out], given[1][left_out] = 0.0, 0.0
        pooled, mean, covariance = _priors(*given, farm, prior)
        guide = combined(precision, shift, mean, covariance)
        draws = draw(partial(share_at, body), farm.readings, (mean, covariance), guide, n_points, wrong_share)
        precision, shift = site(*moments(draws, _EFFECTIVE), (mean, covariance))
    return LawFit(body, draws, pooled, (mean, covariance))


def _priors(precision: Array, shift: Array, farm: Farm, prior: Prior) -> tuple[Pool, Array, Array]:
    """Each phase's prior in its own numbers: the pool's, moved by temperature and shake."""
    moved, doubt = SHAKE_SHIFT, np.diag(SHAKE_DOUBT**2)
    for _ in range(2 if farm.shaken.any() else 1):
        offset = farm.shift + farm.shaken[:, None] * moved
        pooled = pool(precision, shift - np.einsum("vij,vj->vi", precision, offset), farm.tree, prior)
        moved, doubt = _learn_shake(precision, shift, farm, pooled)
    mean = pooled.mean + farm.shift + farm.shaken[:, None] * moved
    covariance = pooled.covariance + farm.shaken[:, None, None] * doubt
    return pooled, mean, covariance


def _learn_shake(precision: Array, shift: Array, farm: Farm, pooled: Pool) -> tuple[Array, Array]:
    """Mean and covariance of what a shake does, from the shaken phases against what their batches led to expect."""
    start = np.diag(SHAKE_DOUBT**-2.0)
    rows = farm.shaken
    seen, covariance = precision[rows], pooled.covariance[rows]
    keep = np.linalg.inv(np.eye(4) + seen @ covariance)
    centre = pooled.mean[rows] + farm.shift[rows]
    pull = np.einsum("vij,vj->vi", keep, shift[rows] - np.einsum("vij,vj->vi", seen, centre)).sum(axis=0)
    weight = (keep @ seen).sum(axis=0)
    doubt = np.linalg.inv(start + 0.5 * (weight + weight.T))
    return doubt @ (start @ SHAKE_SHIFT + pull), 0.5 * (doubt + doubt.T)


def combined(precision: Array, shift: Array, mean: Array, covariance: Array) -> tuple[Array, Array]:
    """Gaussian product of a prior and a site: mean and covariance."""
    prior_precision = np.linalg.inv(covariance)
    narrow = np.linalg.inv(prior_precision + precision)
    narrow = 0.5 * (narrow + np.swapaxes(narrow, 1, 2))
    centre = np.einsum("vij,vj->vi", narrow, np.einsum("vij,vj->vi", prior_precision, mean) + shift)
    return centre, narrow
