"""What is to come for each vessel: its readings handed to growth, and the answer as moments on a calendar."""

from bisect import bisect
from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil, floor
from typing import TYPE_CHECKING

from farm.clock import after_days, days_between
from farm.foretold import foretell
from farm.readings import list_readings
from farm.records import Event, KeptReading, Vessel
from farm.series import read_stale_series
from farm.store import Farm
from farm.two_faces import TOGETHER, combine_faces
from farm.verdicts import wrong_readings
from farm.vessels import list_events, list_vessels

if TYPE_CHECKING:
    from growth import FailedFit, FittedLaw, Forecast, ForecastSettings, LearnedPace, Series


#: Readings this near to each other, days, are one moment to growth.
_SAME_DAYS = 0.25


@dataclass(frozen=True)
class Moments:
    """A day that is not certain: median and 80 % interval, as instants; None where it cannot be said."""

    median: datetime | None
    low: datetime | None
    high: datetime | None


@dataclass(frozen=True)
class Misfit:
    """A reading that the vessel's others do not bear out; expected_percent: what they lead to expect.

    face: the reading as made; where the reading is of front and back together, the one of the two that is farther off.
    """

    reading: KeptReading
    face: KeptReading
    expected_percent: float


@dataclass(frozen=True)
class Outlook:
    """A vessel with its readings (oldest first, only those with a percent), its forecast, and that in instants.

    readings: one series of the vessel, front and back made one. faces: the same as read, each side by itself, those too
    that a person found wrong (left_out). misfits: readings that the fit found wrong.
    """

    vessel: Vessel
    readings: tuple[KeptReading, ...]
    shaken_at: tuple[datetime, ...]
    forecast: "Forecast"
    through: Moments
    ready: Moments
    faces: tuple[KeptReading, ...] = ()
    left_out: tuple[KeptReading, ...] = ()
    misfits: tuple[Misfit, ...] = ()

    @property
    def last(self) -> KeptReading | None:
        """The newest reading with a percent."""
        return self.readings[-1] if self.readings else None


@dataclass(frozen=True)
class KnownReadings:
    """A vessel's readings: as read, front and back made one series, and what of them a person found wrong."""

    faces: tuple[KeptReading, ...]
    combined: tuple[KeptReading, ...]
    left_out: tuple[KeptReading, ...]


def look_ahead(farm: Farm, *, laws: Sequence[str] = ()) -> list[Outlook]:
    """The outlook of every vessel from the farm's now, by id; closed ones too, since the others learn from them.

    laws: names of growth laws to average over; () is those usual for each kind.
    """
    vessels = list_vessels(farm)
    known, shakes, series = all_series(farm, vessels)
    forecasts = foretell(farm, series, growth_settings(farm, laws))
    return [
        Outlook(
            vessel=vessel,
            readings=known[vessel.id].combined,
            shaken_at=tuple(shakes.get(vessel.id, ())),
            forecast=said,
            through=moments_of(vessel.inoculated_at, said, "through"),
            ready=moments_of(vessel.inoculated_at, said, "ready"),
            faces=known[vessel.id].faces,
            left_out=known[vessel.id].left_out,
            misfits=_misfits(vessel, known[vessel.id], said),
        )
        for vessel, said in zip(vessels, forecasts, strict=True)
    ]


def _misfits(vessel: Vessel, known: KnownReadings, said: "Forecast") -> tuple[Misfit, ...]:
    """The readings behind the days that the fit found odd: of several photos of a day the one farthest off."""
    found: dict[str, Misfit] = {}
    for odd in said.odd:

        def off(one: KeptReading, expected: float = odd.expected_percent) -> float:
            return abs((one.percent or 0.0) - expected)

        near = [
            one
            for one in known.combined
            if abs(days_between(vessel.inoculated_at, one.taken_at) - odd.day) <= _SAME_DAYS
        ]
        if near:
            reading = max(near, key=off)
            parts = [one for one in known.faces if abs(one.taken_at - reading.taken_at) <= TOGETHER]
            face = max(parts, key=off) if reading.side == "both" else reading
            found[face.key] = Misfit(reading, face, odd.expected_percent)
    return tuple(found.values())


def list_paces(farm: Farm) -> "tuple[LearnedPace, ...]":
    """How long each species takes on its substrate in its kind, as the farm's readings up to its now have taught."""
    from growth import learned_paces

    _, _, series = all_series(farm, list_vessels(farm))
    return learned_paces(series, settings=growth_settings(farm))


def growth_settings(farm: Farm, laws: Sequence[str] = ()) -> "ForecastSettings":
    """What the farm's settings say about forecasts."""
    from growth import ForecastSettings

    return ForecastSettings(
        through_percent=farm.settings.through_percent,
        own_consolidation_days=farm.settings.consolidation_days,
        own_species=farm.own_species,
        laws=tuple(laws),
    )


def all_series(
    farm: Farm, vessels: Sequence[Vessel]
) -> "tuple[dict[str, KnownReadings], dict[str, list[datetime]], list[Series]]":
    """Readings with a percent and shakes by vessel, and the series they make, in the order of the vessels."""
    read_stale_series(farm)
    moment = farm.now
    by_vessel: dict[str, list[KeptReading]] = {}
    for reading in list_readings(farm):
        if reading.status == "ok" and reading.vessel is not None and reading.taken_at <= moment:
            by_vessel.setdefault(reading.vessel, []).append(reading)
    shakes = shakes_by_vessel(list_events(farm), moment)
    room_c = farm.settings.temperature_c
    wrong = wrong_readings(farm)
    known = {vessel.id: _known(by_vessel.get(vessel.id, ()), shakes.get(vessel.id, ()), wrong) for vessel in vessels}
    series = [
        series_of(vessel, known[vessel.id].combined, shakes.get(vessel.id, ()), moment, room_c) for vessel in vessels
    ]
    return known, shakes, series


def _known(faces: Sequence[KeptReading], shaken_at: Sequence[datetime], wrong: Container[str]) -> KnownReadings:
    trusted = [one for one in faces if one.key not in wrong]
    left_out = tuple(one for one in faces if one.key in wrong)
    return KnownReadings(tuple(faces), tuple(combine_faces(trusted, shaken_at)), left_out)


def daily_curve(outlook: Outlook) -> list[tuple[float, float, float, float]]:
    """The curve at whole days since inoculation: (day, median, low, high), to a little past the day it is through.

    Read between the curve's own points in straight lines; [] where there is no curve.
    """
    curve = outlook.forecast.curve
    if curve is None or len(curve.days) < 2:
        return []
    start = outlook.vessel.inoculated_at
    seen = 0.0 if outlook.last is None else days_between(start, outlook.last.taken_at)
    end = min(curve.days[-1], max(seen, outlook.forecast.through_high or outlook.forecast.through_median or seen) + 2)
    days = [float(day) for day in range(ceil(curve.days[0]), floor(end) + 1)]
    columns = ([_between(day, curve.days, line) for day in days] for line in (curve.median, curve.low, curve.high))
    return list(zip(days, *columns, strict=True))


def fit_alone(outlook: Outlook, law: str) -> "FittedLaw | FailedFit":
    """One law fitted by least squares to the readings of one vessel since its last shake, without what others teach."""
    from growth import fit_law

    start = max((outlook.vessel.inoculated_at, *outlook.shaken_at))
    used = [one for one in outlook.readings if one.taken_at >= start]
    fixed = {"dish_radius_mm": outlook.vessel.diameter_mm / 2} if law == "radial" and outlook.vessel.diameter_mm else {}
    days, percent = [days_between(start, one.taken_at) for one in used], [one.percent or 0.0 for one in used]
    return fit_law(law, days, percent, fixed=fixed)


def _between(at: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    right = min(max(bisect(xs, at), 1), len(xs) - 1)
    left = right - 1
    share = (at - xs[left]) / (xs[right] - xs[left])
    return ys[left] + share * (ys[right] - ys[left])


def series_of(
    vessel: Vessel,
    readings: Sequence[KeptReading],
    shaken_at: Sequence[datetime],
    as_of: datetime,
    room_c: float | None = None,
) -> "Series":
    """A vessel's readings as growth takes them: days since inoculation. Those from before it are left out.

    room_c: mean temperature of the place of a vessel whose record has none.
    """
    from growth import Series

    used = [one for one in readings if one.taken_at >= vessel.inoculated_at and one.percent is not None]
    return Series(
        vessel=vessel.id,
        kind=vessel.kind,
        species=vessel.species,
        substrate=vessel.substrate,
        batch=vessel.batch,
        days=tuple(days_between(vessel.inoculated_at, one.taken_at) for one in used),
        percent=tuple(one.percent for one in used if one.percent is not None),
        low=tuple(one.percent_low for one in used),
        high=tuple(one.percent_high for one in used),
        shaken_days=tuple(days_between(vessel.inoculated_at, at) for at in shaken_at if at >= vessel.inoculated_at),
        as_of_day=max(0.0, days_between(vessel.inoculated_at, as_of)),
        temperature_c=room_c if vessel.temperature_c is None else vessel.temperature_c,
    )


def moments_of(start: datetime, forecast: "Forecast", what: str) -> Moments:
    """The days of "through" or "ready" of a forecast as instants."""
    median, low, high = (after_days(start, getattr(forecast, f"{what}_{edge}")) for edge in ("median", "low", "high"))
    return Moments(median, low, high)


def shakes_by_vessel(events: Iterable[Event], until: datetime) -> dict[str, list[datetime]]:
    """When each vessel was shaken, up to a moment."""
    shakes: dict[str, list[datetime]] = {}
    for event in events:
        if event.event == "shaken" and event.at <= until:
            shakes.setdefault(event.vessel, []).append(event.at)
    return shakes
