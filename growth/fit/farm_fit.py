"""All laws fitted to a whole farm at once, round by round, or again to some batches of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from growth.data import ForecastSettings, Prepared, Series, prepare
from growth.fit.arrays import Gathered, gather
from growth.fit.farm_fit_result import Surveyed
from growth.fit.law_average import even_draws, law_shares, law_weights
from growth.fit.learned_priors import Known, Taught, known_of, taught_by
from growth.fit.pooled import LawFit
from growth.fit.priors import law_prior
from growth.fit.reading_error import error_factor
from growth.fit.sampling import Readings
from growth.fit.stall import Stalls, judge_stalls, look_flat
from growth.fit.unrecorded_shakes import with_drops
from growth.laws import GROWTH_LAWS, days_at, laws_for

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

# Points for each phase and law in each round (powers of two), before and after stalled vessels are told.
_FIRST_ROUNDS = (256, 256, 256, 256, 256)
_LAST_ROUNDS = (512, 512)
_LEAST_FOLLOWED = 0.02  # of a group's vessels, for a law to be kept in its last rounds
_UNDECIDED_ROUNDS = 2  # in which every vessel has a full voice in every law
_LEAST_VOICE = 0.15  # of a vessel in a law it does not follow, so that no law is without a pool
_KEPT = 128  # draws kept of each phase and law
_EVEN = 100  # equal-weight draws kept of each phase for curves and percents


def survey_farm(
    series: Sequence[Series], settings: ForecastSettings
) -> tuple[tuple[Prepared, ...], Gathered, Surveyed]:
    """The series of a farm (at least one) parted into phases, gathered into arrays, and what all laws say of them."""
    prepared, gathered = _gathered(series, settings)
    return prepared, gathered, survey(gathered, settings)


def survey_again(
    series: Sequence[Series], taught: Taught, settings: ForecastSettings
) -> tuple[tuple[Prepared, ...], Gathered, Surveyed] | None:
    """The same for whole batches of a farm whose fit has taught what to expect; None where it taught nothing of one."""
    prepared, gathered = _gathered(series, settings)
    known = known_of(taught, series, gathered)
    return None if known is None else (prepared, gathered, survey(gathered, settings, known))


def teach(series: Sequence[Series], gathered: Gathered, surveyed: Surveyed) -> Taught:
    """What the survey of a farm has taught."""
    shares = surveyed.law_shares
    return taught_by(series, gathered, surveyed.fits, surveyed.rows, shares, surveyed.error_factor)


def _gathered(series: Sequence[Series], settings: ForecastSettings) -> tuple[tuple[Prepared, ...], Gathered]:
    prepared = with_drops(series, [prepare(one, settings) for one in series], settings)
    return prepared, gather(series, prepared, settings.own_species)


def survey(gathered: Gathered, settings: ForecastSettings, known: Known | None = None) -> Surveyed:
    """Fit all laws; vessels that look stalled teach nothing until they are judged, and those that are never do.

    known: what an earlier fit has learned of spreads, laws, shakes and errors; these are then not learned here.
    """
    work = _Work(gathered, settings, known)
    for number, n_points in enumerate(_FIRST_ROUNDS):
        work.improve(n_points, by_law=number >= _UNDECIDED_ROUNDS)
        if number >= _UNDECIDED_ROUNDS and known is None:
            work.learn_error()
    stalls = work.stalls()
    work.growing = ~stalls.told
    if known is None:
        work.keep_followed()
    for n_points in _LAST_ROUNDS:
        work.improve(n_points, by_law=True)
    return work.averaged(stalls)


@dataclass
class _Work:
    """The fits of all laws to a farm, made better round by round.

    readings: with the spreads learned so far, ``error_factor`` times their own where they bear no bounds. growing (P,):
    the phases that teach. rows: those that each law is fitted to.
    """

    gathered: Gathered
    settings: ForecastSettings
    known: Known | None
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
            self.error_factor = float(known.taught.error_factor)
            farm = replace(farm, readings=farm.readings.with_judged_spread(self.error_factor), tree=farm.tree.apart())
            start = {law: known.prior(law) for law in self.rows}
        self.readings = farm.readings
        self.fits = {}
        for law, rows in self.rows.items():
            voice, shake = self.growing[rows].astype(float), None if known is None else known.shake(law)
            fit = LawFit(GROWTH_LAWS[law], farm.take(rows), start[law], self.settings.wrong_share, voice, shake)
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
        """One round of every law; ``by_law``: each vessel's voice in a law is about the weight that law has for it."""
        weight = self._weights()[0] if by_law else None
        for column, (name, rows) in enumerate(self.rows.items()):
            voice = 1.0 if weight is None else np.maximum(weight[rows, column], _LEAST_VOICE)
            self.fits[name].voice = self.growing[rows] * voice
            self.fits[name].improve(n_points)

    def learn_error(self) -> None:
        """Take readings that bear no bounds for as unsure as they show themselves to be."""
        if not self.readings.judged.any():
            return
        factor = error_factor(self.rows, self.fits, self._weights()[0], self.growing.astype(float))
        for fit in self.fits.values():
            fit.scale_judged(factor)
        self.error_factor *= factor
        self.readings = self.readings.with_judged_spread(factor)

    def keep_followed(self) -> None:
        """Leave out the laws that next to no vessel of a group follows: they are not worth more rounds."""
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

    def averaged(self, stalls: Stalls) -> Surveyed:
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
        return Surveyed(
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
