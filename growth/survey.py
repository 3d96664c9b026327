"""All laws on a whole farm at once, averaged: the numbers from which forecasts and paces are read."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growth.average import even_draws, law_weights, weighted_quantiles
from growth.bodies import BODIES, days_at, laws_for, share_at
from growth.gather import Gathered
from growth.pooled import LawFit, fit_farm
from growth.priors import law_prior
from growth.settings import ForecastSettings
from growth.stall import Stalls, judge_stalls

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_EVEN = 100  # equal-weight draws kept of each phase for curves and percents


@dataclass(frozen=True)
class Surveyed:
    """Averaged draws of each phase (P): days to through since the phase began, and what made them.

    laws: names; weight (P, L): of each law; through (P, D) with log_weight (P, D): draws of all laws side by side;
    even_theta (P, M, 4) and even_law (P, M): equal-weight draws.
    """

    laws: tuple[str, ...]
    weight: Array
    through: Array
    log_weight: Array
    even_theta: Array
    even_law: Index
    stalls: Stalls
    fits: dict[str, LawFit]

    def quantiles(self, levels: Sequence[float]) -> Array:
        """Quantiles (P, Q) of the days to through since the phase began."""
        return weighted_quantiles(self.through, self.log_weight, np.asarray(levels))

    def share_draws(self, rows: Index, days: Array) -> Array:
        """Share colonised (R, M, N) of phases ``rows`` at ``days`` (R, N), over equal-weight draws."""
        theta, law = self.even_theta[rows], self.even_law[rows]
        each = np.broadcast_to(days[:, None, :], (*law.shape, days.shape[1]))
        share = np.zeros(each.shape)
        for number, name in enumerate(self.laws):
            chosen = law == number
            if chosen.any():
                share[chosen] = share_at(BODIES[name], each[chosen], theta[chosen])
        return share


def survey(gathered: Gathered, settings: ForecastSettings) -> Surveyed:
    """Fit all laws; vessels found stalled are then left out of the pool and the laws fitted again."""
    laws = _rows_of_laws(gathered, settings)
    nobody = np.zeros(len(gathered.vessel), dtype=bool)
    fits = _fit_all(gathered, laws, settings, nobody)
    stalls = _stalls(gathered, laws, fits, settings)
    if stalls.told.any():
        fits = _fit_all(gathered, laws, settings, stalls.told)
    return _averaged(gathered, laws, fits, stalls, settings)


def _rows_of_laws(gathered: Gathered, settings: ForecastSettings) -> dict[str, Index]:
    kinds = np.array([gathered.groups[g].kind for g in _group_of_phase(gathered)])
    rows: dict[str, Index] = {}
    for name in BODIES:
        usual = {kind for kind in set(kinds) if name in (settings.laws or laws_for(kind))}
        chosen = np.flatnonzero(np.isin(kinds, sorted(usual)))
        if len(chosen):
            rows[name] = chosen
    return rows


def _group_of_phase(gathered: Gathered) -> Index:
    tree = gathered.farm.tree
    return tree.group_of_batch[tree.batch_of_vessel]


def _fit_all(
    gathered: Gathered, laws: dict[str, Index], settings: ForecastSettings, left_out: NDArray[np.bool_]
) -> dict[str, LawFit]:
    return {
        name: fit_farm(
            BODIES[name],
            gathered.farm.take(rows),
            law_prior(BODIES[name], gathered.groups, settings.through_percent),
            settings.wrong_share,
            left_out[rows],
        )
        for name, rows in laws.items()
    }


def _evidence(n: int, laws: dict[str, Index], fits: dict[str, LawFit]) -> Array:
    evidence = np.full((n, len(laws)), -np.inf)
    for column, (name, rows) in enumerate(laws.items()):
        evidence[rows, column] = fits[name].draws.log_evidence
    return evidence


def _weights(gathered: Gathered, laws: dict[str, Index], fits: dict[str, LawFit]) -> tuple[Array, Array]:
    evidence = _evidence(len(gathered.vessel), laws, fits)
    counts = gathered.farm.readings.weight.sum(axis=1) > 0
    return law_weights(evidence, _group_of_phase(gathered), counts, len(gathered.groups))


def _stalls(gathered: Gathered, laws: dict[str, Index], fits: dict[str, LawFit], settings: ForecastSettings) -> Stalls:
    weight, growing = _weights(gathered, laws, fits)
    n = len(gathered.vessel)
    probability, ceiling = np.zeros(n), np.full(n, np.nan)
    best = weight.argmax(axis=1)
    for column, (name, rows) in enumerate(laws.items()):
        asked = np.flatnonzero((best[rows] == column) & gathered.current[rows])
        found = judge_stalls(fits[name], gathered.farm.readings.take(rows), growing[rows], asked, settings.wrong_share)
        probability[rows[asked]], ceiling[rows[asked]] = found.probability[asked], found.ceiling[asked]
    return Stalls(probability, ceiling)


def _averaged(
    gathered: Gathered, laws: dict[str, Index], fits: dict[str, LawFit], stalls: Stalls, settings: ForecastSettings
) -> Surveyed:
    weight, _ = _weights(gathered, laws, fits)
    n, size = len(gathered.vessel), next(iter(fits.values())).draws.log_weight.shape[1]
    through = np.zeros((n, len(laws), size))
    log_weight = np.full((n, len(laws), size), -np.inf)
    theta = np.zeros((n, len(laws), size, 4))
    with np.errstate(divide="ignore"):
        log_law = np.log(weight)
    for column, (name, rows) in enumerate(laws.items()):
        draws = fits[name].draws
        through[rows, column] = days_at(BODIES[name], settings.through_percent / 100.0, draws.theta)
        log_weight[rows, column] = draws.log_weight + log_law[rows, column, None]
        theta[rows, column] = draws.theta
    flat_through, flat_weight = through.reshape(n, -1), log_weight.reshape(n, -1)
    picked = even_draws(flat_through, flat_weight, _EVEN)
    return Surveyed(
        laws=tuple(laws),
        weight=weight,
        through=flat_through,
        log_weight=flat_weight,
        even_theta=np.take_along_axis(theta.reshape(n, -1, 4), picked[:, :, None], axis=1),
        even_law=picked // size,
        stalls=stalls,
        fits=fits,
    )
