"""Forecast a farm: for each vessel the days of colonised through and ready, with intervals, status and notes."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import KINDS, find_species, plain_name, use_of, vessel_uses
from growth.data import (
    USUAL_TEMPERATURE_C,
    WAITING_PERCENT,
    Curve,
    Forecast,
    ForecastSettings,
    OddReading,
    Series,
    Status,
    pace_factor,
    status_by_days,
)
from growth.fit import FarmFit, Gathered, Group, LearnedPriors, Prepared, fit_farm, learn_priors, refit_batches

Array = NDArray[np.floating[Any]]

_WRONG_DEVIATIONS = 4.0
_CURVE_POINTS = 60
_REPORTED_CHANGE = 0.1
#: A vessel can only be called far behind if at least this many others of its batch have readings.
_FEWEST_MATES = 3


def forecast(series: Sequence[Series], *, settings: ForecastSettings | None = None) -> tuple[Forecast, ...]:
    """One forecast for each series, in the same order. All vessels of a farm are fitted together.

    Vessels learn from each other: finished ones show the usual pace. Days are since inoculation. The interval is for
    the moment the TRUE percent reaches ``settings.through_percent``. Results are the same from run to run. A series
    without a usable reading gets a status and a reason in its notes, not an error. Raises ValueError for a series whose
    days, percents and bounds differ in length.
    """
    settings = settings or ForecastSettings()
    if not series:
        return ()
    return make_forecasts(series, *fit_farm(series, settings), settings)


def forecast_and_learn(
    series: Sequence[Series], *, settings: ForecastSettings | None = None
) -> tuple[tuple[Forecast, ...], LearnedPriors]:
    """The forecasts of a farm (at least one series), and the priors learned from it for :func:`reforecast_batches`."""
    settings = settings or ForecastSettings()
    prepared, gathered, farm_fit = fit_farm(series, settings)
    return make_forecasts(series, prepared, gathered, farm_fit, settings), learn_priors(series, gathered, farm_fit)


def reforecast_batches(
    series: Sequence[Series],
    learned: LearnedPriors,
    *,
    already_given: Collection[str] = (),
    settings: ForecastSettings | None = None,
) -> tuple[Forecast, ...] | None:
    """Forecasts of whole batches of a farm that has changed little since it was fitted as a whole.

    Each batch is fitted with the priors learned by that fit and without the other batches, which keep their forecasts.
    None if the priors lack the species on the substrate in the kind of vessel of one batch. already_given: notes of the
    other vessels' forecasts, which are not repeated.
    """
    settings = settings or ForecastSettings()
    found = refit_batches(series, learned, settings)
    return None if found is None else make_forecasts(series, *found, settings, already_given)


@dataclass(frozen=True)
class _State:
    """Numbers of all vessels (V), in days since inoculation and percents: through is (V, 3), low median high."""

    row: NDArray[np.intp]
    through: Array
    as_of: Array
    percent: Array
    percent_per_day: Array
    lag: Array


def _states(prepared: Sequence[Prepared], gathered: Gathered, farm_fit: FarmFit, settings: ForecastSettings) -> _State:
    rows = np.flatnonzero(gathered.current)
    rows = rows[np.argsort(gathered.vessel[rows])]
    start = gathered.start_day[rows]
    half = settings.interval / 2.0
    as_of = np.array([0.0 if one.as_of_day is None else one.as_of_day for one in prepared])
    around = np.maximum((as_of - start)[:, None] + np.array([-0.5, 0.0, 0.5]), 0.0)
    percent = 100.0 * farm_fit.share_draws(rows, around)
    return _State(
        row=rows,
        through=farm_fit.quantiles([0.5 - half, 0.5, 0.5 + half])[rows] + start[:, None],
        as_of=as_of,
        percent=np.median(percent[:, :, 1], axis=1),
        percent_per_day=np.median(percent[:, :, 2] - percent[:, :, 0], axis=1),
        lag=farm_fit.lag_days(rows) + start,
    )


def make_forecasts(
    series: Sequence[Series],
    prepared: Sequence[Prepared],
    gathered: Gathered,
    farm_fit: FarmFit,
    settings: ForecastSettings,
    already_given: Collection[str] = (),
) -> tuple[Forecast, ...]:
    """One forecast for each series from a fit of the farm. already_given: notes that are not repeated."""
    seen = _states(prepared, gathered, farm_fit, settings)
    wrong = _odd_readings(gathered, farm_fit)
    behind = _far_behind(prepared, gathered.farm.tree.batch_of_vessel[seen.row], seen.through)
    group_of = gathered.farm.tree.group_of_batch[gathered.farm.tree.batch_of_vessel]
    given = set(already_given)
    forecasts = []
    for n, (one, ready) in enumerate(zip(series, prepared, strict=True)):
        row = int(seen.row[n])
        unknown = _not_yet_given([*_unknown(gathered.groups[group_of[row]]), *_temperature(one, settings)], given)
        stalled = bool(farm_fit.stalls.is_stalled[row]) and ready.drop is None and bool(ready.phases)
        rest = rest_days(one, settings)
        status = _status(ready, stalled, seen.through[n], rest, float(seen.percent[n]))
        percent = 100.0 * float(farm_fit.stalls.ceiling[row]) if stalled else float(seen.percent[n])
        late = behind.get(n) if status in ("waiting", "colonising") else None
        low, median, high = (None, None, None) if stalled else map(float, seen.through[n])
        forecasts.append(
            Forecast(
                vessel=one.vessel,
                status=status,
                percent_now=_round(percent, 2) if ready.phases else None,
                through_median=_round(median),
                through_low=_round(low),
                through_high=_round(high),
                ready_median=_round(median, plus=rest),
                ready_low=_round(low, plus=rest),
                ready_high=_round(high, plus=rest),
                lag_days=_round(float(seen.lag[n]), 2),
                percent_per_day=_round(0.0 if stalled else float(seen.percent_per_day[n]), 2) if ready.phases else None,
                laws=_law_weights(farm_fit, row),
                curve=_curve(farm_fit, ready, row, None if stalled else seen.through[n], settings),
                notes=(
                    *ready.notes,
                    *unknown,
                    *map(_odd_note, wrong.get(n, ())),
                    *_status_notes(status, ready, percent),
                    *_behind_notes(late),
                ),
                odd=tuple(wrong.get(n, ())),
                days_behind=_round(late, 1),
                drop=ready.drop,
            )
        )
    return tuple(forecasts)


def _far_behind(prepared: Sequence[Prepared], batch_of: NDArray[np.intp], through: Array) -> dict[int, float]:
    """Vessels far behind their batch, by index: how many days their median is later than their batch's.

    Far behind: the low end of the vessel's interval is later than the high end of most others.
    """
    behind: dict[int, float] = {}
    read = np.array([bool(one.phases) for one in prepared], dtype=bool)
    for batch in np.unique(batch_of[read]):
        members = np.flatnonzero(read & (batch_of == batch))
        if len(members) <= _FEWEST_MATES:
            continue
        for n in members:
            mates = through[members[members != n]]
            if through[n, 0] > np.median(mates[:, 2]):
                behind[int(n)] = float(through[n, 1] - np.median(mates[:, 1]))
    return behind


def _behind_notes(days: float | None) -> tuple[str, ...]:
    return () if days is None else (f"about {days:.0f} days behind the rest of its batch: look at it",)


def _law_weights(farm_fit: FarmFit, row: int) -> dict[str, float]:
    return {law: round(float(w), 4) for law, w in zip(farm_fit.laws, farm_fit.weight[row], strict=True) if w > 0}


def _status_notes(status: Status, prepared: Prepared, percent: float) -> tuple[str, ...]:
    if status == "stalled":
        return (f"growth stopped near {percent:.0f} %: look at it, and at the rest of its batch",)
    if status == "no readings":
        return ("no readings yet: the days are those of its batch and of the species table",)
    if (drop := prepared.drop) is not None:
        cut = any(phase.start_day == drop.shake_day for phase in prepared.phases)
        assumed = "it was" if cut else "it was not, and that a reading is wrong"
        fell = f"from {drop.before_percent:.0f} to {drop.after_percent:.0f} about day {drop.shake_day:.1f}"
        return (f"the percent fell {fell}: was it shaken? If so, record it; the days assume {assumed}",)
    return ()


def _status(prepared: Prepared, stalled: bool, through: Array, rest: float, percent: float) -> Status:
    if not prepared.phases:
        return "no readings"
    if prepared.drop is not None:
        return "dropped"
    if stalled:
        return "stalled"
    readings = np.concatenate([phase.share for phase in prepared.phases])
    quiet = percent < WAITING_PERCENT and 100.0 * float(np.median(readings[-2:])) < WAITING_PERCENT
    shows_nothing = quiet and len(prepared.phases) == 1
    median = float(through[1])
    return status_by_days(prepared.as_of_day or 0.0, median, median + rest, shows_nothing=shows_nothing)


def rest_days(one: Series, settings: ForecastSettings) -> float:
    """Days that a vessel rests between colonised through and ready."""
    own = {_rest_key(name, settings): days for name, days in settings.own_consolidation_days.items()}
    species = _rest_key(one.species, settings)
    rests = vessel_uses()[use_of(one.kind, one.substrate, one.use)].consolidates
    for key in ((species[0], one.kind), *([species] if rests else [])):
        if key in own:
            return own[key]
    if settings.consolidation_days is not None:
        return settings.consolidation_days
    known = find_species(one.species, settings.own_species)
    return known.consolidation_days.value if rests and known is not None else 0.0


def _rest_key(name: str, settings: ForecastSettings) -> tuple[str, str]:
    """Species, by its key where it is known, and the kind that the name ends with (empty: none)."""
    words = plain_name(name)
    if find_species(words, settings.own_species) is None and words.rpartition(" ")[2] in KINDS:
        words, _, kind = words.rpartition(" ")
    else:
        kind = ""
    known = find_species(words, settings.own_species)
    return (known.key if known else words), kind


def _unknown(group: Group) -> list[str]:
    return [group.unknown] if group.unknown else []


def _temperature(one: Series, settings: ForecastSettings) -> list[str]:
    species = find_species(one.species, settings.own_species)
    times = 1.0 / pace_factor(species, one.temperature_c)
    if species is None or abs(times - 1.0) < _REPORTED_CHANGE:
        return []
    usual = f"{times:.1f} times the days it takes at {_degrees(USUAL_TEMPERATURE_C, settings)}"
    now = _degrees(one.temperature_c or 0.0, settings)
    return [f"{species.name} at {now}: expected to take {usual}, until its readings say otherwise"]


def _degrees(celsius: float, settings: ForecastSettings) -> str:
    return f"{celsius * 9 / 5 + 32:.3g} °F" if settings.fahrenheit else f"{celsius:.3g} °C"


def _not_yet_given(notes: Sequence[str], given: set[str]) -> list[str]:
    """Notes that were not given to an earlier vessel; they are added to ``given``."""
    fresh = [note for note in notes if note not in given]
    given.update(fresh)
    return fresh


def _odd_readings(gathered: Gathered, farm_fit: FarmFit) -> dict[int, list[OddReading]]:
    """Readings that do not fit their vessel's curve, by vessel. They had almost no weight in the fit."""
    readings = farm_fit.readings
    expected = farm_fit.share_draws(np.arange(len(gathered.vessel)), readings.days).mean(axis=1)
    far = np.abs(readings.share - expected) > _WRONG_DEVIATIONS * readings.spread
    odd: dict[int, list[OddReading]] = {}
    for row, column in np.argwhere(far & (readings.weight > 0) & ~farm_fit.stalls.is_stalled[:, None]):
        day = gathered.start_day[row] + readings.days[row, column]
        percent, about = (round(100.0 * float(share[row, column]), 2) for share in (readings.share, expected))
        odd.setdefault(int(gathered.vessel[row]), []).append(OddReading(round(float(day), 3), percent, about))
    return odd


def _odd_note(one: OddReading) -> str:
    curve = f"its curve (about {one.expected_percent:.0f} %) and did not move the day"
    return f"the reading of day {one.day:.1f} ({one.percent:.0f} %) does not fit {curve}"


def _curve(
    farm_fit: FarmFit, prepared: Prepared, row: int, through: Array | None, settings: ForecastSettings
) -> Curve | None:
    """The curve of the current phase, to one day after its last reading or the end of its interval.

    The curve of a stalled vessel (``through`` is None) stays at the percent where growth stopped.
    """
    if not settings.curve:
        return None
    start = prepared.phases[-1].start_day if prepared.phases else 0.0
    seen = start + max((float(phase.days[-1]) for phase in prepared.phases[-1:] if len(phase.days)), default=1.0)
    end = max(seen, 0.0 if through is None else float(through[2])) + 1.0
    days = np.linspace(start, end, _CURVE_POINTS)
    half = settings.interval / 2.0
    share = farm_fit.share_draws(np.array([row]), days[None] - start)[0]
    if through is None:
        share = np.minimum(share, farm_fit.stalls.ceiling[row])
    low, median, high = 100.0 * np.quantile(share, [0.5 - half, 0.5, 0.5 + half], axis=0)
    return Curve(*(tuple(round(float(v), 3) for v in values) for values in (days, median, low, high)))


def _round(value: float | None, digits: int = 3, plus: float = 0.0) -> float | None:
    return None if value is None else round(value + plus, digits)
