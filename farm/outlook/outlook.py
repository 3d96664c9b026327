"""The outlook of each vessel: its readings given to growth, and the forecast as moments on a calendar."""

from bisect import bisect
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from math import ceil, floor
from typing import TYPE_CHECKING

from farm.outlook.farm_view import FarmView, all_series, view_farm
from farm.outlook.forecast_cache import forecast_vessels
from farm.outlook.partial_refit import ForecastRequest
from farm.outlook.seen import NOTHING_SEEN, Seen
from farm.outlook.vessel_readings import VesselReadings, readings_in_parts
from farm.records import TOGETHER
from farm.records.models import KeptReading, Vessel
from farm.store import Farm, after_days, days_between, has_stale_series

if TYPE_CHECKING:
    from growth.data import Forecast, ForecastSettings, Series
    from growth.fit import FailedFit, FittedLaw
    from growth.forecast import LearnedPace


#: Readings this near to each other, days, are one moment to growth.
_SAME_DAYS = 0.25


@dataclass(frozen=True)
class Moments:
    """An uncertain day: median and 80 % interval, as instants; None where it cannot be forecast."""

    median: datetime | None
    low: datetime | None
    high: datetime | None


@dataclass(frozen=True)
class Misfit:
    """A reading that the vessel's others contradict. expected_percent: what the others predict.

    face: the reading as made; where the reading is of front and back together, the one of the two that is farther off.
    """

    reading: KeptReading
    face: KeptReading
    expected_percent: float


@dataclass(frozen=True)
class Outlook:
    """A vessel at a moment: its newest reading, its forecast, and the days of the forecast as instants.

    A snapshot of values; its readings are asked for by ``readings_of``. last: the newest reading with a percent, front
    and back combined; n_readings: how many of these there are. seen: the suspects and signs on its photos.
    refused: the newest photo, if it could bear no percent.
    left_out: readings that a person found wrong. misfits: readings that the fit found wrong.
    """

    vessel: Vessel
    shaken_at: tuple[datetime, ...]
    forecast: "Forecast"
    through: Moments
    ready: Moments
    last: KeptReading | None = None
    n_readings: int = 0
    seen: Seen = NOTHING_SEEN
    left_out: tuple[KeptReading, ...] = ()
    misfits: tuple[Misfit, ...] = ()
    refused: KeptReading | None = None

    def misfit_of(self, reading: KeptReading) -> Misfit | None:
        """What does not fit of a reading of the series; it is known by its moment."""
        return next((one for one in self.misfits if one.reading.taken_at == reading.taken_at), None)

    @property
    def is_seen_ready(self) -> bool:
        """Whether it is ready, and was photographed since it was due; one that is only forecast as ready is not."""
        due = self.ready.low
        is_seen = self.last is not None and (due is None or self.last.taken_at >= due)
        return self.forecast.status == "ready" and is_seen

    @property
    def is_only_forecast(self) -> bool:
        """Whether it is ready by its forecast alone: no photo was taken since it was due."""
        return self.forecast.status == "ready" and not self.is_seen_ready


def bring_up_to_date(farm: Farm, *, laws: Sequence[str] = ()) -> list[Outlook]:
    """Bring the farm up to date, and give what ``list_outlooks`` then gives.

    This is the one step that works for a list and keeps what it made: it reads stale series again with vision, makes
    the summaries of changed vessels, and fits the forecasts.
    """
    with farm.reading() as connection:
        is_stale = has_stale_series(connection)
    if is_stale:
        from farm.measure import read_stale_series

        read_stale_series(farm)
    return _outlooks(farm, laws, keep=True)


def list_outlooks(farm: Farm, *, laws: Sequence[str] = ()) -> list[Outlook]:
    """The outlook of every vessel from the farm's now, by id; closed ones too, since the others learn from them.

    From the records as they are: no vision runs, nothing is written. Forecasts that are not kept are fitted for this
    answer alone. laws: names of growth laws to average over; () is those usual for each kind.
    """
    return _outlooks(farm, laws, keep=False)


def _outlooks(farm: Farm, laws: Sequence[str], *, keep: bool) -> list[Outlook]:
    view, made = view_farm(farm, keep=keep)
    series = partial(all_series, farm, view, made)
    forecasts = forecast_vessels(farm, _requests(view), series, growth_settings(farm, laws), keep=keep)
    odd = {one.vessel for one in forecasts if one.odd} | set(view.wrong.values())
    readings = dict(readings_in_parts(farm, [one.id for one in view.vessels if one.id in odd]))
    return [
        _outlook(view, vessel, forecast, readings.get(vessel.id))
        for vessel, forecast in zip(view.vessels, forecasts, strict=True)
    ]


def _requests(view: FarmView) -> list[ForecastRequest]:
    return [
        ForecastRequest(
            vessel=one.id,
            batch=one.batch,
            key=f"{view.summaries[one.id].digest} {view.room_c if one.temperature_c is None else one.temperature_c}",
            as_of_day=max(0.0, days_between(one.inoculated_at, view.moment)),
        )
        for one in view.vessels
    ]


def _outlook(view: FarmView, vessel: Vessel, forecast: "Forecast", readings: VesselReadings | None) -> Outlook:
    """readings: None where nothing of it was found wrong."""
    summary = view.summaries[vessel.id]
    return Outlook(
        vessel=vessel,
        shaken_at=view.shaken_at.get(vessel.id, ()),
        forecast=forecast,
        through=moments_of(vessel.inoculated_at, forecast, "through"),
        ready=moments_of(vessel.inoculated_at, forecast, "ready"),
        last=summary.last,
        n_readings=summary.n_readings,
        seen=summary.seen,
        left_out=() if readings is None else readings.left_out,
        misfits=() if readings is None else _misfits(vessel, readings, forecast),
        refused=summary.refused,
    )


def _misfits(vessel: Vessel, readings: VesselReadings, forecast: "Forecast") -> tuple[Misfit, ...]:
    """The readings behind the days that the fit found odd: of several photos of a day the one farthest off."""
    found: dict[str, Misfit] = {}
    for odd in forecast.odd:

        def off(one: KeptReading, expected: float = odd.expected_percent) -> float:
            return abs((one.percent or 0.0) - expected)

        near = [
            one
            for one in readings.series
            if abs(days_between(vessel.inoculated_at, one.taken_at) - odd.day) <= _SAME_DAYS
        ]
        if near:
            reading = max(near, key=off)
            parts = [one for one in readings.faces if abs(one.taken_at - reading.taken_at) <= TOGETHER]
            face = max(parts, key=off) if reading.side == "both" else reading
            found[face.key] = Misfit(reading, face, odd.expected_percent)
    return tuple(found.values())


def current_series(farm: Farm, ids: Collection[str] | None = None) -> "tuple[tuple[Vessel, ...], list[Series]]":
    """The vessels of a farm by id, or some, and their series up to its now, as growth takes them."""
    view, made = view_farm(farm, keep=False)
    vessels = tuple(one for one in view.vessels if ids is None or one.id in ids)
    return vessels, all_series(farm, view, made, ids)


def list_paces(farm: Farm) -> "tuple[LearnedPace, ...]":
    """How long each species takes on its substrate in its kind, learned from the farm's readings up to its now."""
    from growth.forecast import learned_paces

    return learned_paces(current_series(farm)[1], settings=growth_settings(farm))


def growth_settings(farm: Farm, laws: Sequence[str] = ()) -> "ForecastSettings":
    """What the farm's settings say about forecasts."""
    from growth.data import ForecastSettings

    return ForecastSettings(
        through_percent=farm.settings.through_percent,
        own_consolidation_days=farm.settings.consolidation_days,
        own_species=farm.own_species,
        laws=tuple(laws),
        fahrenheit=farm.settings.units.temperatures == "F",
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


def fit_alone(outlook: Outlook, readings: Sequence[KeptReading], law: str) -> "FittedLaw | FailedFit":
    """One law fitted by least squares to the readings of one vessel since its last shake, without its batch."""
    from growth.fit import fit_law

    start = max((outlook.vessel.inoculated_at, *outlook.shaken_at))
    used = [one for one in readings if one.taken_at >= start]
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
