"""Fit all laws to a whole farm, round by round, or again to some of its batches."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growth.data import ForecastSettings, Series
from growth.fit.arrays import Gathered, gather
from growth.fit.farm_fit_result import FarmFit
from growth.fit.law_average import even_draws, law_shares, law_weights
from growth.fit.learned_priors import LearnedPriors, MatchedPriors, learned_priors, match_priors
from growth.fit.phases import Prepared, prepare
from growth.fit.pooled import LawFit
from growth.fit.priors import law_prior
from growth.fit.reading_error import error_factor
from growth.fit.sampling import Readings
from growth.fit.stall import Stalls, judge_stalls, look_flat
from growth.fit.unrecorded_shakes import split_at_unrecorded_shakes
from growth.laws import GROWTH_LAWS, days_at, laws_for

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

# Points for each phase and law in each round (powers of two), before and after stalls are judged.
_FIRST_ROUNDS = (256, 256, 256, 256, 256)
_LAST_ROUNDS = (512, 512)
_LEAST_FOLLOWED = 0.02  # share of a group's vessels that must follow a law for it to be kept in the last rounds
_UNDECIDED_ROUNDS = 2  # first rounds, in which every vessel has full weight in the pool of every law
_LEAST_POOL_WEIGHT = 0.15  # of a vessel in a law it does not follow, so that every law has a pool
_KEPT = 128  # draws kept of each phase and law
_EVEN = 100  # equal-weight draws kept of each phase for curves and percents


def fit_farm(series: Sequence[Series], settings: ForecastSettings) -> tuple[tuple[Prepared, ...], Gathered, FarmFit]:
    """Fit a farm (at least one series): its series split into phases, gathered into arrays, and the fit of all laws."""
    prepared, gathered = _gathered(series, settings)
    return prepared, gathered, fit_laws(gathered, settings)


def refit_batches(
    series: Sequence[Series], learned: LearnedPriors, settings: ForecastSettings
) -> tuple[tuple[Prepared, ...], Gathered, FarmFit] | None:
    """The same for whole batches of a farm with learned priors; None if the priors lack the group of one of them."""
    prepared, gathered = _gathered(series, settings)
    known = match_priors(learned, series, gathered)
    return None if known is None else (prepared, gathered, fit_laws(gathered, settings, known))


def learn_priors(series: Sequence[Series], gathered: Gathered, farm_fit: FarmFit) -> LearnedPriors:
    """The priors learned by a fit of a farm."""
    shares = farm_fit.law_shares
    return learned_priors(series, gathered, farm_fit.fits, farm_fit.rows, shares, farm_fit.error_factor)


def _gathered(series: Sequence[Series], settings: ForecastSettings) -> tuple[tuple[Prepared, ...], Gathered]:
    prepared = split_at_unrecorded_shakes(series, [prepare(one, settings) for one in series], settings)
    return prepared, gather(series, prepared, settings.own_species)


def fit_laws(gathered: Gathered, settings: ForecastSettings, known: MatchedPriors | None = None) -> FarmFit:
    """Fit all laws. Vessels that look stalled have no weight in the pool until they are judged; stalled ones never.

    known: spreads, laws, shakes and errors learned by an earlier fit; they are then not learned again.
    """
    work = _Work(gathered, settings, known)
    for number, n_points in enumerate(_FIRST_ROUNDS):
        work.improve(n_points, by_law=number >= _UNDECIDED_ROUNDS)
        if number >= _UNDECIDED_ROUNDS and known is None:
            work.learn_error()
    stalls = work.stalls()
    work.growing = ~stalls.is_stalled
    if known is None:
        work.keep_followed()
    for n_points in _LAST_ROUNDS:
        work.improve(n_points, by_law=True)
    return work.averaged(stalls)


@dataclass
class _Work:
    """The fits of all laws to a farm, improved round by round.

    readings: with the spreads learned so far, ``error_factor`` times their own where they have no bounds. growing (P,):
    phases that have weight in the pool. rows: phases that each law is fitted to.
    """

    gathered: Gathered
    settings: ForecastSettings
    known: MatchedPriors | None
    error_factor: float = 1.0
    readings: Readings = field(init=False)
    growing: NDArray[np.bool_] = field(init=False)
    group: Index = field(init=False)
    rows: dict[str, Index] = field(init=False)
    fits: dict[str, LawFit] = field(init=False)

    def __post_init__(self) -> None:
        farm, known = self.gathered.farm, self.known
        self.growing = ~look_flat(farm.readings)
        self.group = farm.tree.group_of_batch[farm.tree.batch_of_vessel]
        if known is None:
            self.rows = self._rows_of_laws()
            start = {
                law: law_prior(GROWTH_LAWS[law], self.gathered.groups, self.settings.through_percent)
                for law in self.rows
            }
        else:
            self.rows = known.rows_of_laws(farm.tree.batch_of_vessel)
            self.error_factor = float(known.learned.error_factor)
            farm = replace(farm, readings=farm.readings.with_judged_spread(self.error_factor), tree=farm.tree.apart())
            start = {law: known.prior(law) for law in self.rows}
        self.readings = farm.readings
        self.fits = {}
        for law, rows in self.rows.items():
            pool_weight, shake = self.growing[rows].astype(float), None if known is None else known.shake(law)
            fit = LawFit(GROWTH_LAWS[law], farm.take(rows), start[law], self.settings.wrong_share, pool_weight, shake)
            self.fits[law] = fit

    def _rows_of_laws(self) -> dict[str, Index]:
        kinds = np.array([self.gathered.groups[g].kind for g in self.group])
        rows: dict[str, Index] = {}
        for name in GROWTH_LAWS:
            usual = {kind for kind in set(kinds) if name in (self.settings.laws or laws_for(kind))}
            chosen = np.flatnonzero(np.isin(kinds, sorted(usual)))
            if len(chosen):
                rows[name] = chosen
        return rows

    def improve(self, n_points: int, *, by_law: bool) -> None:
        """One round of every law. ``by_law``: a vessel's weight in the pool of a law is its weight for that law."""
        weight = self._weights()[0] if by_law else None
        for column, (name, rows) in enumerate(self.rows.items()):
            pool_weight = 1.0 if weight is None else np.maximum(weight[rows, column], _LEAST_POOL_WEIGHT)
            self.fits[name].pool_weight = self.growing[rows] * pool_weight
            self.fits[name].improve(n_points)

    def learn_error(self) -> None:
        """Scale the spread of readings without bounds to their scatter about the curves."""
        if not self.readings.judged.any():
            return
        factor = error_factor(self.rows, self.fits, self._weights()[0], self.growing.astype(float))
        for fit in self.fits.values():
            fit.scale_judged(factor)
        self.error_factor *= factor
        self.readings = self.readings.with_judged_spread(factor)

    def keep_followed(self) -> None:
        """Drop the laws that almost no vessel of a group follows."""
        weight, _ = self._weights()
        n_groups = len(self.gathered.groups)
        left_rows, left_fits = {}, {}
        for column, (name, rows) in enumerate(self.rows.items()):
            share = np.bincount(self.group, weights=weight[:, column], minlength=n_groups) / np.bincount(
                self.group, minlength=n_groups
            )
            kept = np.flatnonzero(share[self.group[rows]] >= _LEAST_FOLLOWED)
            if len(kept):
                left_rows[name] = rows[kept]
                left_fits[name] = self.fits[name] if len(kept) == len(rows) else self.fits[name].take(kept)
        self.rows, self.fits = left_rows, left_fits

    def _evidence(self) -> Array:
        evidence = np.full((len(self.group), len(self.rows)), -np.inf)
        for column, (name, rows) in enumerate(self.rows.items()):
            evidence[rows, column] = self.fits[name].draws.log_evidence
        return evidence

    def _law_shares(self, evidence: Array) -> Array:
        """Share (G, L) of the vessels of each group that follow each law."""
        counts = self.growing & (self.readings.weight.sum(axis=1) > 0)
        return law_shares(evidence, self.group, counts, len(self.gathered.groups))

    def _weights(self) -> tuple[Array, Array]:
        evidence = self._evidence()
        if self.known is None:
            return law_weights(evidence, self._law_shares(evidence)[self.group])
        return law_weights(evidence, self.known.law_shares(list(self.rows), self.gathered.farm.tree.batch_of_vessel))

    def stalls(self) -> Stalls:
        """Each current phase is judged under the law that fits it best."""
        weight, evidence = self._weights()
        n = len(self.group)
        probability, ceiling = np.zeros(n), np.full(n, np.nan)
        best = weight.argmax(axis=1)
        for column, (name, rows) in enumerate(self.rows.items()):
            asked = np.flatnonzero((best[rows] == column) & self.gathered.current[rows])
            found = judge_stalls(self.fits[name], evidence[rows], asked)
            probability[rows[asked]], ceiling[rows[asked]] = found.probability[asked], found.ceiling[asked]
        return Stalls(probability, ceiling)

    def averaged(self, stalls: Stalls) -> FarmFit:
        """The draws of all laws side by side."""
        weight, _ = self._weights()
        n, laws = len(self.group), self.rows
        through = np.zeros((n, len(laws), _KEPT))
        theta = np.zeros((n, len(laws), _KEPT, 4), dtype=np.float32)
        for column, (name, rows) in enumerate(laws.items()):
            draws = self.fits[name].draws
            days = days_at(GROWTH_LAWS[name], self.settings.through_percent / 100.0, draws.theta)
            kept = even_draws(days, draws.log_weight, _KEPT)
            through[rows, column] = np.take_along_axis(days, kept, axis=1)
            theta[rows, column] = np.take_along_axis(draws.theta, kept[:, :, None], axis=1)
        with np.errstate(divide="ignore"):
            log_weight = np.repeat(np.log(weight / _KEPT), _KEPT, axis=1)
        flat = through.reshape(n, -1)
        picked = even_draws(flat, log_weight, _EVEN)
        return FarmFit(
            laws=tuple(laws),
            weight=weight,
            through=flat,
            log_weight=log_weight,
            even_theta=np.take_along_axis(theta.reshape(n, -1, 4), picked[:, :, None], axis=1),
            even_law=picked // _KEPT,
            readings=self.readings,
            stalls=stalls,
            fits=self.fits,
            rows=laws,
            law_shares=self._law_shares(self._evidence()),
            error_factor=self.error_factor,
        )
