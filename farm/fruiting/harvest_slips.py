"""Slips of the hand in harvests that were noted: twice the same, of a wrong day, or of a vessel never opened."""

from collections.abc import Sequence

from farm.fruiting.harvests import list_harvests
from farm.records import ids_in_short, list_events
from farm.records.models import Event, Harvest
from farm.store import Farm, iso, on_farm_clock


def harvest_slips(farm: Farm, noted: Sequence[Harvest]) -> list[str]:
    """Warnings on harvests that are most likely noted twice, or of a wrong day; [] where none is."""
    ids = {one.vessel for one in noted}
    twice: dict[str, list[str]] = {}
    for known in list_harvests(farm, ids):
        for one in noted:
            if one.vessel == known.vessel and one.at != known.at and _is_alike(farm, one, known):
                which = f"{farm.units.weight(known.fresh_kg)} at {iso(known.at, farm.zone)}"
                twice.setdefault(which, []).append(one.vessel)
    events = list_events(farm, ids)
    opened = {one.vessel: one.at for one in reversed(events) if one.event == "opened"}
    early: dict[str, list[str]] = {}
    for one in noted:
        since = opened.get(one.vessel)
        if since is not None and on_farm_clock(one.at, farm.zone).date() < on_farm_clock(since, farm.zone).date():
            early.setdefault(f"{on_farm_clock(since, farm.zone):%Y-%m-%d}", []).append(one.vessel)
    again = "the same weight of the same day is noted already: {}, {}; is it noted twice?"
    before = "picked before it was opened on {}: {}; is the day right?"
    doubled = [again.format(ids_in_short(some), which) for which, some in twice.items()]
    too_early = [before.format(day, ids_in_short(some)) for day, some in early.items()]
    return doubled + too_early + _never_opened(noted, list_harvests(farm, ids), events)


def _never_opened(noted: Sequence[Harvest], known: Sequence[Harvest], events: Sequence[Event]) -> list[str]:
    """A warning on first harvests of vessels of which nobody noted that they fruit."""
    fruits = {one.vessel for one in events if one.event in ("opened", "pins")}
    fresh = {(one.vessel, one.at) for one in noted}
    fruits |= {one.vessel for one in known if (one.vessel, one.at) not in fresh}
    unopened = ids_in_short({one.vessel for one in noted} - fruits)
    if not unopened:
        return []
    how = f"the day on which it was opened is noted with `spawnrun event {unopened.replace(',', '')} opened --at DAY`"
    return [f"never noted as opened for fruiting: {unopened}; is the id right? If it is, {how}"]


def _is_alike(farm: Farm, one: Harvest, other: Harvest) -> bool:
    """Whether two harvests have the same weight and, on the farm's clock, the same day."""
    days = {on_farm_clock(each.at, farm.zone).date() for each in (one, other)}
    return len(days) == 1 and abs(one.fresh_kg - other.fresh_kg) < 1e-6
