"""All vessels of a farm at a moment, with summaries of their readings, and their series as growth takes them."""

from collections.abc import Collection, Iterator, Mapping, MutableMapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from farm.outlook.vessel_readings import VesselReadings, in_parts, readings_until, shakes_by_vessel
from farm.outlook.vessel_summary import Summary, keep_summaries, kept_summaries, summary_of
from farm.records import list_events, list_vessels, wrong_readings
from farm.records.models import KeptReading, Vessel
from farm.store import Farm, days_between

if TYPE_CHECKING:
    from growth.data import Series

_EVER = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True)
class FarmView:
    """The vessels by id, when they were shaken, and what their readings come to: values as of the moment.

    wrong: keys of the readings that a person found wrong, with their vessels. room_c: temperature of the place of a
    vessel whose record has none.
    """

    moment: datetime
    vessels: tuple[Vessel, ...]
    shaken_at: Mapping[str, tuple[datetime, ...]]
    summaries: Mapping[str, Summary]
    wrong: Mapping[str, str]
    room_c: float | None


def view_farm(farm: Farm, *, keep: bool) -> "tuple[FarmView, dict[str, Series]]":
    """The farm at its now, and the series that were made on the way, by vessel.

    Summaries that are not kept are made; keep: they are then written to the records, for the next time.
    """
    known, missing = kept_summaries(farm)
    vessels, events = tuple(list_vessels(farm)), list_events(farm)
    room_c = farm.settings.temperature_c
    made: dict[str, Series] = {}
    if missing:
        everything = FarmView(_EVER, vessels, shakes_by_vessel(events, None), known, {}, room_c)
        fresh = _summarise(farm, everything, missing.keys(), made)
        if keep:
            keep_summaries(farm, fresh, missing)
        known |= fresh
    moment, wrong = farm.now, wrong_readings(farm)
    view = FarmView(moment, vessels, shakes_by_vessel(events, moment), known, wrong, room_c)
    # Those of which more is known than was at the moment, and those of which a person found a reading wrong.
    other_then = {
        vessel
        for vessel, one in known.items()
        if (one.newest_at is not None and one.newest_at > moment) or vessel in wrong.values()
    } | {event.vessel for event in events if event.at > moment}
    inoculated = {one.id: one.inoculated_at for one in vessels}
    series = {
        vessel: replace(one, as_of_day=max(0.0, days_between(inoculated[vessel], moment)))
        for vessel, one in made.items()
        if vessel not in other_then
    }
    then = _summarise(farm, view, other_then, series)
    return replace(view, summaries=known | then), series


def all_series(
    farm: Farm, view: FarmView, made: "MutableMapping[str, Series]", ids: Collection[str] | None = None
) -> "list[Series]":
    """The series of all vessels, or of some, in their order; those that are not made yet are added to made."""
    wanted = [one for one in view.vessels if ids is None or one.id in ids]
    for vessel, known in _readings(farm, view, [one for one in wanted if one.id not in made]):
        made[vessel.id] = _series_in(view, vessel, known)
    return [made[one.id] for one in wanted]


def _summarise(
    farm: Farm, view: FarmView, ids: Collection[str], made: "MutableMapping[str, Series]"
) -> dict[str, Summary]:
    """The summaries of some vessels as of the view's moment, made from their readings; their series go to made."""
    summaries: dict[str, Summary] = {}
    for vessel, known in _readings(farm, view, [one for one in view.vessels if one.id in ids]):
        made[vessel.id] = _series_in(view, vessel, known)
        shaken_at = view.shaken_at.get(vessel.id, ())
        summaries[vessel.id] = summary_of(vessel, known, shaken_at, made[vessel.id])
    return summaries


def _readings(farm: Farm, view: FarmView, vessels: Sequence[Vessel]) -> Iterator[tuple[Vessel, VesselReadings]]:
    by_id = {one.id: one for one in vessels}
    for some in in_parts(list(by_id)):
        for vessel, known in readings_until(farm, some, view.shaken_at, view.moment, view.wrong.keys()).items():
            yield by_id[vessel], known


def _series_in(view: FarmView, vessel: Vessel, known: VesselReadings) -> "Series":
    return series_of(vessel, known.series, view.shaken_at.get(vessel.id, ()), view.moment, view.room_c)


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
    from growth.data import Series

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
        use=vessel.use,
    )
