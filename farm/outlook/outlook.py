"""What is to come for each vessel: its readings handed to growth, and the answer as moments on a calendar."""

from bisect import bisect
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from math import ceil, floor
from typing import TYPE_CHECKING

from farm.outlook.farm_view import AT_ONCE, Fetched, KnownReadings, Shelf, open_shelf
from farm.outlook.forecast_cache import foretell
from farm.outlook.partial_refit import Asked
from farm.records import TOGETHER
from farm.records.models import KeptReading, Vessel
from farm.store import Farm, after_days, days_between

if TYPE_CHECKING:
    from growth.data import Forecast, ForecastSettings
    from growth.fit import FailedFit, FittedLaw
    from growth.forecast import LearnedPace


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
    that a person found wrong (left_out). misfits: readings that the fit found wrong. Of a farm, readings and faces are
    fetched when somebody looks into them.
    """

    vessel: Vessel
    readings: Sequence[KeptReading]
    shaken_at: tuple[datetime, ...]
    forecast: "Forecast"
    through: Moments
    ready: Moments
    faces: Sequence[KeptReading] = ()
    left_out: tuple[KeptReading, ...] = ()
    misfits: tuple[Misfit, ...] = ()

    @property
    def last(self) -> KeptReading | None:
        """The newest reading with a percent."""
        return self.readings[-1] if self.readings else None

    def misfit_of(self, reading: KeptReading) -> Misfit | None:
        """What does not fit of a reading of the series. By its moment: the newest may be another copy of the record."""
        return next((one for one in self.misfits if one.reading.taken_at == reading.taken_at), None)

    @property
    def is_seen_ready(self) -> bool:
        """Whether it is ready, and was photographed since it was due: what is only foretold is told apart."""
        due = self.ready.low
        is_seen = self.last is not None and (due is None or self.last.taken_at >= due)
        return self.forecast.status == "ready" and is_seen

    @property
    def is_calm(self) -> bool:
        """Whether it is known, without looking, that no reading shows a suspect or a sign."""
        return isinstance(self.faces, Fetched) and self.faces.is_calm


def look_ahead(farm: Farm, *, laws: Sequence[str] = ()) -> list[Outlook]:
    """The outlook of every vessel from the farm's now, by id; closed ones too, since the others learn from them.

    laws: names of growth laws to average over; () is those usual for each kind.
    """
    shelf = open_shelf(farm)
    return [_outlook(shelf, vessel, said) for vessel, said in zip(shelf.vessels, _foretold(shelf, laws), strict=True)]


def fetched_ahead(outlooks: Iterable[Outlook], which: Callable[[Outlook], bool]) -> Iterator[Outlook]:
    """The outlooks in order; the readings of those chosen are fetched for many at once, as their turn comes."""
    waiting = iter(outlooks)
    while some := list(islice(waiting, AT_ONCE)):
        chosen = [one.faces for one in some if isinstance(one.faces, Fetched) and which(one)]
        if chosen:
            chosen[0].shelf.fetch([one.vessel for one in chosen])
        yield from some


def _foretold(shelf: Shelf, laws: Sequence[str]) -> "list[Forecast]":
    """One forecast for each vessel; their readings are fetched only if it is not kept."""
    room_c = shelf.farm.settings.temperature_c
    asked = [
        Asked(
            vessel=one.id,
            batch=one.batch,
            key=f"{shelf.summaries[one.id].digest} {room_c if one.temperature_c is None else one.temperature_c}",
            as_of_day=max(0.0, days_between(one.inoculated_at, shelf.moment)),
        )
        for one in shelf.vessels
    ]
    return foretell(shelf.farm, asked, shelf.all_series, growth_settings(shelf.farm, laws))


def _outlook(shelf: Shelf, vessel: Vessel, said: "Forecast") -> Outlook:
    known = shelf.known(vessel.id) if said.odd or vessel.id in shelf.wrong.values() else None
    return Outlook(
        vessel=vessel,
        readings=Fetched(shelf, vessel.id, combined=True),
        shaken_at=tuple(shelf.shakes.get(vessel.id, ())),
        forecast=said,
        through=moments_of(vessel.inoculated_at, said, "through"),
        ready=moments_of(vessel.inoculated_at, said, "ready"),
        faces=Fetched(shelf, vessel.id, combined=False),
        left_out=() if known is None else known.left_out,
        misfits=() if known is None else _misfits(vessel, known, said),
    )


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
    from growth.forecast import learned_paces

    return learned_paces(open_shelf(farm).all_series(), settings=growth_settings(farm))


def growth_settings(farm: Farm, laws: Sequence[str] = ()) -> "ForecastSettings":
    """What the farm's settings say about forecasts."""
    from growth.data import ForecastSettings

    return ForecastSettings(
        through_percent=farm.settings.through_percent,
        own_consolidation_days=farm.settings.consolidation_days,
        own_species=farm.own_species,
        laws=tuple(laws),
    )


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
    from growth.fit import fit_law

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


def moments_of(start: datetime, forecast: "Forecast", what: str) -> Moments:
    """The days of "through" or "ready" of a forecast as instants."""
    median, low, high = (after_days(start, getattr(forecast, f"{what}_{edge}")) for edge in ("median", "low", "high"))
    return Moments(median, low, high)
