"""The life of a vessel that fruits: opened, pins, flushes, rest, and when it is to be picked next."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from farm.fruiting.flushes import Flush, flushes_of
from farm.fruiting.harvests import list_harvests
from farm.fruiting.usual_days import FruitingDays, table_days, with_own_days
from farm.records import list_events, list_vessels, species_key
from farm.records.models import Event, Harvest, Vessel
from farm.store import Farm, after_days, days_between, on_farm_clock

#: waiting: opened, nothing seen yet; pins: seen, and not picked yet; resting: picked, and the next flush is to come;
#: due: to be picked by now; late: nothing was noted for as many days after that as lie between flushes; past: its usual
#: flushes are picked, and the time for another has passed.
Stage = Literal["waiting", "pins", "resting", "due", "late", "past"]
#: Events that show that a vessel fruits.
_FRUITING_EVENTS = ("opened", "pins")


@dataclass(frozen=True)
class FruitingLife:
    """A vessel that fruits. since: opened, or the first that was seen of it. opened_at: None where that was not noted.

    pins_at: pins that are not picked yet. flushes: by number. next_flush: its number; due_at: when it is to be picked.
    days: what these follow from.
    """

    vessel: Vessel
    stage: Stage
    since: datetime
    opened_at: datetime | None
    pins_at: datetime | None
    flushes: tuple[Flush, ...]
    next_flush: int
    due_at: datetime | None
    days: FruitingDays

    @property
    def fresh_kg(self) -> float:
        """All that was picked from it."""
        return sum(one.fresh_kg for one in self.flushes)


def fruiting_since(farm: Farm, ids: Collection[str]) -> dict[str, datetime]:
    """Those of some vessels that fruit, and since when: the first of opened to fruit, pins seen and harvested."""
    moments = [(one.at, one.vessel) for one in list_events(farm, ids) if one.event in _FRUITING_EVENTS]
    moments += [(one.at, one.vessel) for one in list_harvests(farm, ids)]
    since: dict[str, datetime] = {}
    for at, vessel in sorted(moments):
        if at <= farm.now:
            since.setdefault(vessel, at)
    return since


def fruiting_lives(farm: Farm, vessels: Sequence[Vessel]) -> dict[str, FruitingLife]:
    """Those of some vessels that fruit or have fruited, by id."""
    ids = {one.id for one in vessels}
    since = fruiting_since(farm, ids)
    events: dict[str, list[Event]] = {}
    for event in list_events(farm, since):
        if event.at <= farm.now:
            events.setdefault(event.vessel, []).append(event)
    harvests = harvests_by_vessel(farm, since)
    days = usual_days(farm, {one.species for one in vessels if one.id in since})
    return {
        one.id: _life(farm, one, since[one.id], events.get(one.id, []), harvests.get(one.id, []), days[one.species])
        for one in vessels
        if one.id in since
    }


def usual_days(farm: Farm, names: Collection[str]) -> dict[str, FruitingDays]:
    """How long fruiting takes for each of some names of species: as the farm has seen it, else as in the table."""
    seen = _seen_days(farm) if names else {}
    found = {}
    for name in names:
        to_first, between = seen.get(species_key(farm, name), ([], []))
        found[name] = with_own_days(table_days(farm, name), to_first, between)
    return found


def harvests_by_vessel(farm: Farm, ids: Collection[str] | None = None) -> dict[str, list[Harvest]]:
    """Harvests up to the farm's now by vessel, oldest first."""
    found: dict[str, list[Harvest]] = {}
    for one in list_harvests(farm, ids):
        found.setdefault(one.vessel, []).append(one)
    return found


def _life(
    farm: Farm,
    vessel: Vessel,
    since: datetime,
    events: Sequence[Event],
    harvests: Sequence[Harvest],
    days: FruitingDays,
) -> FruitingLife:
    flushes = tuple(flushes_of(harvests, table_days(farm, vessel.species).between.value))
    picked_at = harvests[-1].at if harvests else None
    pins = [one.at for one in events if one.event == "pins" and (picked_at is None or one.at > picked_at)]
    newest = max(flushes, key=lambda one: one.last_at, default=None)
    is_over = newest is not None and newest.number >= days.flushes.value and not pins
    due_at = _due_at(since, pins, newest, days)
    early: Stage = "pins" if pins else "resting" if flushes else "waiting"
    return FruitingLife(
        vessel=vessel,
        stage=_stage_when_due(farm, due_at, days, is_over=is_over) or early,
        since=since,
        opened_at=next((one.at for one in events if one.event == "opened"), None),
        pins_at=pins[0] if pins else None,
        flushes=flushes,
        next_flush=1 if newest is None else newest.number + 1,
        due_at=due_at,
        days=days,
    )


def _stage_when_due(farm: Farm, due_at: datetime | None, days: FruitingDays, *, is_over: bool) -> Stage | None:
    """The stage from the morning of the day on which a flush is due; None before."""
    if due_at is None or on_farm_clock(due_at, farm.zone).date() > on_farm_clock(farm.now, farm.zone).date():
        return None
    if is_over:
        return "past"
    return "late" if days_between(due_at, farm.now) > days.between.value else "due"


def _due_at(since: datetime, pins: Sequence[datetime], newest: Flush | None, days: FruitingDays) -> datetime | None:
    if pins:
        return after_days(pins[0], days.from_pins.value)
    if newest is not None:
        return after_days(newest.first_at, days.between.value)
    return after_days(since, days.to_first.value)


def _seen_days(farm: Farm) -> dict[str, tuple[list[float], list[float]]]:
    """By species the days from opened to the first harvest, and from flush to flush, of all vessels of the farm."""
    harvests = harvests_by_vessel(farm)
    opened: dict[str, datetime] = {}
    for event in list_events(farm, harvests):
        if event.event == "opened":
            opened.setdefault(event.vessel, event.at)
    seen: dict[str, tuple[list[float], list[float]]] = {}
    for vessel in list_vessels(farm, ids=list(harvests)):
        to_first, between = seen.setdefault(species_key(farm, vessel.species), ([], []))
        flushes = flushes_of(harvests[vessel.id], table_days(farm, vessel.species).between.value)
        if vessel.id in opened and opened[vessel.id] < flushes[0].first_at:
            to_first.append(days_between(opened[vessel.id], flushes[0].first_at))
        starts = {one.number: one.first_at for one in flushes}
        between += [days_between(at, starts[n + 1]) for n, at in starts.items() if n + 1 in starts]
    return seen
