"""All laws on a whole farm at once, averaged: the numbers from which forecasts and paces are read."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growth.average import even_draws, law_weights, weighted_quantiles
from growth.bodies import BODIES, days_at, laws_for, share_at, timing
from growth.drops import with_drops
from growth.gather import Gathered, gather
from growth.phases import Prepared, prepare
from growth.pooled import LawFit
from growth.priors import law_prior
from growth.reading_error import error_factor
from growth.records import Series
from growth.sampling import Readings, normal_draws
from growth.settings import ForecastSettings
from growth.stall import Stalls, judge_stalls, look_flat

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

# Points for each phase and law in each round (powers of two), before and after stalled vessels are told.
_FIRST_ROUNDS = (256, 256, 256, 256, 256)
_LAST_ROUNDS = (512, 512)
_LEAST_FOLLOWED = 0.02  # of a group's vessels, for a law to be kept in its last rounds
_UNDECIDED_ROUNDS = 2  # in which every vessel has a full voice in every law
_LEAST_VOICE = 0.15  # of a vessel in a law it does not follow, so that no law is without a pool
_KEPT = 128  # draws kept of each phase and law
_NEWCOMERS = 512  # draws of a vessel to come, for the pace
_EVEN = 100  # equal-weight draws kept of each phase for curves and percents


@dataclass(frozen=True)
class Surveyed:
    """Averaged draws of each phase (P): days to through since the phase began, and what made them.

    laws: names; weight (P, L): of each law; through (P, D) with log_weight (P, D): draws of all laws side by side;
    even_theta (P, M, 4) and even_law (P, M): equal-weight draws. readings: with the spreads that were learned. rows:
    which phases each law was fitted to.
    """

    laws: tuple[str, ...]
    weight: Array
    through: Array
    log_weight: Array
    even_theta: Array
    even_law: Index
    readings: Readings
    stalls: Stalls
    fits: dict[str, LawFit]
    rows: dict[str, Index]

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

    def lag_days(self, rows: Index) -> Array:
        """Median lag (R,) of phases ``rows``, days since the phase began."""
        lag = np.zeros(self.even_law[rows].shape)
        for number, name in enumerate(self.laws):
            chosen = self.even_law[rows] == number
            lag[chosen] = timing(BODIES[name], self.even_theta[rows][chosen])[0]
        return np.asarray(np.median(lag, axis=1))

    def newcomer_days(self, group: int, law_weight: Array, settings: ForecastSettings) -> tuple[float, float, float]:
        """(low, median, high) days to through of a vessel of a new batch in ``group``, before any reading of it."""
        days, weights = [], []
        for name, share in zip(self.laws, law_weight, strict=True):
            if share <= 0:
                continue
            pooled = self.fits[name].pooled
            spread = pooled.group_covariance[group] + pooled.between[group] + pooled.within[group]
            theta = normal_draws(pooled.group_mean[group][None], spread[None], _NEWCOMERS)[0]
            days.append(days_at(BODIES[name], settings.through_percent / 100.0, theta))
            weights.append(np.full(_NEWCOMERS, np.log(share)))
        half = settings.interval / 2.0
        joined = np.concatenate(days)[None], np.concatenate(weights)[None]
        low, median, high = weighted_quantiles(*joined, np.array([0.5 - half, 0.5, 0.5 + half]))[0]
        return float(low), float(median), float(high)


def survey_farm(
    series: Sequence[Series], settings: ForecastSettings
) -> tuple[tuple[Prepared, ...], Gathered, Surveyed]:
    """The series of a farm (at least one) parted into phases, gathered into arrays, and what all laws say of them."""
    prepared = with_drops(series, [prepare(one, settings) for one in series], settings)
    gathered = gather(series, prepared, settings.own_species)
    return prepared, gathered, survey(gathered, settings)


def survey(gathered: Gathered, settings: ForecastSettings) -> Surveyed:
    """Fit all laws; vessels that look stalled teach nothing until they are judged, and those that are never do."""
    laws = _rows_of_laws(gathered, settings)
    growing = ~look_flat(gathered.farm.readings)
    fits = {}
    for name, rows in laws.items():
        start = law_prior(BODIES[name], gathered.groups, settings.through_percent)
        farm = gathered.farm.take(rows)
        fits[name] = LawFit(BODIES[name], farm, start, settings.wrong_share, growing[rows].astype(float))
    for number, n_points in enumerate(_FIRST_ROUNDS):
        _improve(gathered, laws, fits, growing, n_points, by_law=number >= _UNDECIDED_ROUNDS)
        if number >= _UNDECIDED_ROUNDS:
            gathered = _learn_error(gathered, laws, fits, growing)
    stalls = _stalls(gathered, laws, fits, growing)
    growing = ~stalls.told
    laws, fits = _followed(gathered, laws, fits, growing)
    for n_points in _LAST_ROUNDS:
        _improve(gathered, laws, fits, growing, n_points, by_law=True)
    return _averaged(gathered, laws, fits, stalls, settings)


def _learn_error(
    gathered: Gathered, laws: dict[str, Index], fits: dict[str, LawFit], growing: NDArray[np.bool_]
) -> Gathered:
    """The same farm with readings that bear no bounds taken for as unsure as they show themselves to be."""
    if not gathered.farm.readings.judged.any():
        return gathered
    weight, _ = _weights(gathered, laws, fits, growing)
    factor = error_factor(laws, fits, weight, growing.astype(float))
    for fit in fits.values():
        fit.scale_judged(factor)
    return replace(gathered, farm=replace(gathered.farm, readings=gathered.farm.readings.with_judged_spread(factor)))


def _followed(
    gathered: Gathered, laws: dict[str, Index], fits: dict[str, LawFit], growing: NDArray[np.bool_]
) -> tuple[dict[str, Index], dict[str, LawFit]]:
    """The laws of each group without those that next to none of its vessels follow: they are not worth more rounds."""
    weight, _ = _weights(gathered, laws, fits, growing)
    group, n_groups = _group_of_phase(gathered), len(gathered.groups)
    left_laws, left_fits = {}, {}
    for column, (name, rows) in enumerate(laws.items()):
        share = np.bincount(group, weights=weight[:, column], minlength=n_groups) / np.bincount(
            group, minlength=n_groups
        )
        kept = np.flatnonzero(share[group[rows]] >= _LEAST_FOLLOWED)
        if len(kept):
            left_laws[name] = rows[kept]
            left_fits[name] = fits[name] if len(kept) == len(rows) else fits[name].take(kept)
    return left_laws, left_fits


def _improve(
    gathered: Gathered,
    laws: dict[str, Index],
    fits: dict[str, LawFit],
    growing: NDArray[np.bool_],
    n_points: int,
    *,
    by_law: bool,
) -> None:
    """One round of every law; ``by_law``: each vessel's voice in a law is about the weight that law has for it."""
    weight, _ = _weights(gathered, laws, fits, growing) if by_law else (None, None)
    for column, (name, rows) in enumerate(laws.items()):
        fits[name].voice = growing[rows] * (1.0 if weight is None else np.maximum(weight[rows, column], _LEAST_VOICE))
        fits[name].improve(n_points)


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


def _weights(
    gathered: Gathered, laws: dict[str, Index], fits: dict[str, LawFit], growing: NDArray[np.bool_]
) -> tuple[Array, Array]:
    evidence = np.full((len(gathered.vessel), len(laws)), -np.inf)
    for column, (name, rows) in enumerate(laws.items()):
        evidence[rows, column] = fits[name].draws.log_evidence
    counts = growing & (gathered.farm.readings.weight.sum(axis=1) > 0)
    return law_weights(evidence, _group_of_phase(gathered), counts, len(gathered.groups))


def _stalls(gathered: Gathered, laws: dict[str, Index], fits: dict[str, LawFit], growing: NDArray[np.bool_]) -> Stalls:
    """Each current phase is judged under the law that fits it best."""
    weight, evidence = _weights(gathered, laws, fits, growing)
    n = len(gathered.vessel)
    probability, ceiling = np.zeros(n), np.full(n, np.nan)
    best = weight.argmax(axis=1)
    for column, (name, rows) in enumerate(laws.items()):
        asked = np.flatnonzero((best[rows] == column) & gathered.current[rows])
        found = judge_stalls(fits[name], evidence[rows], asked)
        probability[rows[asked]], ceiling[rows[asked]] = found.probability[asked], found.ceiling[asked]
    return Stalls(probability, ceiling)


def _averaged(
    gathered: Gathered, laws: dict[str, Index], fits: dict[str, LawFit], stalls: Stalls, settings: ForecastSettings
) -> Surveyed:
    weight, _ = _weights(gathered, laws, fits, ~stalls.told)
    n = len(gathered.vessel)
    through = np.zeros((n, len(laws), _KEPT))
    theta = np.zeros((n, len(laws), _KEPT, 4), dtype=np.float32)
    for column, (name, rows) in enumerate(laws.items()):
        draws = fits[name].draws
        days = days_at(BODIES[name], settings.through_percent / 100.0, draws.theta)
        kept = even_draws(days, draws.log_weight, _KEPT)
        through[rows, column] = np.take_along_axis(days, kept, axis=1)
        theta[rows, column] = np.take_along_axis(draws.theta, kept[:, :, None], axis=1)
    with np.errstate(divide="ignore"):
        log_weight = np.repeat(np.log(weight / _KEPT), _KEPT, axis=1)
    flat = through.reshape(n, -1)
    picked = even_draws(flat, log_weight, _EVEN)
    return Surveyed(
        laws=tuple(laws),
        weight=weight,
        through=flat,
        log_weight=log_weight,
        even_theta=np.take_along_axis(theta.reshape(n, -1, 4), picked[:, :, None], axis=1),
        even_law=picked // _KEPT,
        readings=gathered.farm.readings,
        stalls=stalls,
        fits=fits,
        rows=laws,
    )
