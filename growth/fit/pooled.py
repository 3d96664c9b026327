"""Fit one law to a whole farm, by alternating between sampling each vessel and pooling over batches and groups."""

from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growth.fit.hierarchy import Pool, Prior, Sites, Tree, pool
from growth.fit.sampling import Draws, Gaussian, Readings, combined, explore, site
from growth.laws import GrowthLaw, share_at

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

#: Uncertainty of the shift by temperature, as a part of the shift.
_SHIFT_DOUBT = 0.5

# Effect of a shake on (log half-way day, logit of the growing part, shape, tail) of the next phase, and its uncertainty
# as standard deviations. Growth is faster because it starts from many broken pieces. Common practice, no source.
SHAKE_SHIFT = np.array([-0.65, 0.4, 0.0, 0.0])
SHAKE_DOUBT = np.array([0.35, 0.4, 0.15, 0.3])
#: Standard deviations of the effect from one shake to the next.
SHAKE_SCATTER = np.array([0.2, 0.3, 0.1, 0.15])


@dataclass(frozen=True)
class Farm:
    """All phases of a farm. shaken: began with a shake. shift (P, 4): known shifts of each prior, as by temperature."""

    readings: Readings
    tree: Tree
    shaken: NDArray[np.bool_]
    shift: Array

    def take(self, rows: Index) -> "Farm":
        """The same for some phases; batches and groups keep their numbers."""
        tree = Tree(self.tree.batch_of_vessel[rows], self.tree.group_of_batch, self.tree.n_groups)
        return Farm(self.readings.take(rows), tree, self.shaken[rows], self.shift[rows])


@dataclass
class LawFit:
    """The fit of one law to one farm, improved round by round.

    ``prior``: of each phase, from its batch and group; ``draws``: from the posterior after its own readings;
    ``pooled``: learned means and spreads. ``pool_weight`` (P,): weight of each phase in the pool, 0-1 (0 for a stalled
    one). ``shake``: mean and covariance of the effect of a shake, learned from the farm unless ``known_shake`` gives
    it.
    """

    law: GrowthLaw
    farm: Farm
    start: Prior
    wrong_share: float
    pool_weight: Array
    known_shake: Gaussian | None = None
    shake: Gaussian = field(init=False)
    sites: Gaussian = field(init=False)
    pooled: Pool = field(init=False)
    prior: Gaussian = field(init=False)
    draws: Draws = field(init=False)

    def __post_init__(self) -> None:
        n = len(self.farm.shaken)
        self.sites = np.zeros((n, 4)), np.zeros((n, 4, 4))
        self.pooled = pool(Sites(self.sites[1], self.sites[0], self.pool_weight), self.farm.tree, self.start)

    def improve(self, n_points: int) -> None:
        """One round: pool all phases, then sample each with ``n_points`` points (a power of two)."""
        self._pool()
        guide = combined(self.sites, self.prior)
        at = partial(share_at, self.law)
        self.draws, seen = explore(at, self.farm.readings, self.prior, guide, n_points, self.wrong_share)
        self.sites = site(seen, self.prior)

    def scale_judged(self, factor: float) -> None:
        """Multiply the spread of readings without bounds by a factor."""
        self.farm = replace(self.farm, readings=self.farm.readings.with_judged_spread(factor))

    def take(self, rows: Index) -> "LawFit":
        """The same for some phases, to be improved further."""
        fit = LawFit(
            self.law, self.farm.take(rows), self.start, self.wrong_share, self.pool_weight[rows], self.known_shake
        )
        fit.sites = self.sites[0][rows], self.sites[1][rows]
        fit.pooled, fit.shake = self.pooled, self.shake
        fit.draws = Draws(self.draws.theta[rows], self.draws.log_weight[rows], self.draws.log_evidence[rows])
        return fit

    def _pool(self) -> None:
        """The prior of each phase: that of the pool, shifted by temperature and shake."""
        shift, precision = self.sites
        farm, known = self.farm, self.known_shake
        moved, doubt = (SHAKE_SHIFT, np.diag(SHAKE_DOUBT**2)) if known is None else known
        for _ in range(2 if farm.shaken.any() else 1):
            offset = farm.shift + farm.shaken[:, None] * moved
            own = shift - np.einsum("vij,vj->vi", precision, offset)
            pooled = pool(Sites(precision, own, self.pool_weight), farm.tree, self.start, self.pooled)
            if known is None:
                moved, doubt = _learn_shake(Sites(precision, shift, self.pool_weight), farm, pooled)
        self.pooled, self.shake = pooled, (moved, doubt)
        mean = pooled.mean + farm.shift + farm.shaken[:, None] * moved
        scatter = doubt + np.diag(SHAKE_SCATTER**2)
        unsure = _SHIFT_DOUBT**2 * farm.shift[:, :, None] * farm.shift[:, None, :]
        self.prior = mean, pooled.covariance + farm.shaken[:, None, None] * scatter + unsure


def _learn_shake(sites: Sites, farm: Farm, pooled: Pool) -> tuple[Array, Array]:
    """Mean and covariance of what a shake does, from the shaken phases against what their batches led to expect."""
    start = np.diag(SHAKE_DOUBT**-2.0)
    rows = farm.shaken
    seen, covariance = sites.precision[rows], pooled.covariance[rows] + np.diag(SHAKE_SCATTER**2)
    keep = np.linalg.inv(np.eye(4) + seen @ covariance) * sites.pool_weight[rows, None, None]
    centre = pooled.mean[rows] + farm.shift[rows]
    pull = np.einsum("vij,vj->vi", keep, sites.shift[rows] - np.einsum("vij,vj->vi", seen, centre)).sum(axis=0)
    weight = (keep @ seen).sum(axis=0)
    doubt = np.linalg.inv(start + 0.5 * (weight + weight.T))
    return doubt @ (start @ SHAKE_SHIFT + pull), 0.5 * (doubt + doubt.T)
