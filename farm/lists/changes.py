"""What has changed since an earlier moment: new alerts, vessels that became ready, days that moved, readings."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from calibration import Use
from farm.fruiting import list_harvests
from farm.lists.today import TodayItem, list_today
from farm.outlook import bring_up_to_date
from farm.records import closed_since, list_vessels
from farm.records.models import BEHIND, STALL, TAKEN_OUT, KeptReading, Vessel
from farm.review import ReviewItem
from farm.store import Farm, days_between

#: look: something to look at that was not there; ready: ready or due, and was not; cleared: nothing to look at any
#: more; pick: to be picked, and was not; picked; moved: its day moved by a day or more; out: taken out as contaminated;
#: closed; new: inoculated since; read: a new reading and nothing else. Most pressing first.
What = Literal["look", "pick", "ready", "moved", "cleared", "picked", "out", "closed", "new", "read"]
WHATS: tuple[What, ...] = ("look", "pick", "ready", "moved", "cleared", "picked", "out", "closed", "new", "read")
#: A day that moved by less is not reported, days.
_MOVED_DAYS = 1.0
_DUE = ("ready", "due")


@dataclass(frozen=True)
class Change:
    """How one vessel changed. before, now: its newest reading then and now, None without one.

    ready_before, ready_now: median day of readiness, None of what fruits; fresh: what to look at that was not there;
    picked_kg: harvested in between.
    """

    what: What
    vessel: Vessel
    before: KeptReading | None
    now: KeptReading | None
    ready_before: datetime | None
    ready_now: datetime | None
    fresh: tuple[ReviewItem, ...] = ()
    picked_kg: float = 0.0


def today_and_changes(farm: Farm, since: datetime) -> tuple[list[TodayItem], list[Change]]:
    """Today's list, and what has changed since an earlier moment; the farm is brought up to date for both."""
    earlier_farm = farm.as_known_at(since)
    today, earlier = (list_today(one, bring_up_to_date(one)) for one in (farm, earlier_farm))
    return today, changes_since(farm, today, earlier, since)


@dataclass(frozen=True)
class NewSince:
    """Since when, and how many vessels: photographed, harvested, with something new to look at, new, taken out, closed.

    picked_kg: fresh weight of the harvests.
    """

    since: datetime
    photographed: int
    harvested: int
    picked_kg: float
    to_look_at: int
    new: int
    out: int
    closed: int


def new_since(farm: Farm, items: Sequence[TodayItem], since: datetime, use: Use | None = None) -> NewSince:
    """What is new since an earlier moment, counted from the records alone: no list of that moment is made.

    use: only of vessels that are for this, as the items are; None: of all. Growth that stopped or is far behind has no
    day on which that began, and is not counted as new to look at.
    """
    gone = [one for one in closed_since(farm, since) if use in (None, one.used_for)]
    recent = [one for one in list_harvests(farm) if one.at > since]
    fruited = list_vessels(farm, ids={one.vessel for one in recent})
    meant = {one.id for one in fruited if use in (None, one.used_for)}
    picked = [one for one in recent if one.vessel in meant]
    return NewSince(
        since=since,
        harvested=len({one.vessel for one in picked}),
        picked_kg=sum(one.fresh_kg for one in picked),
        photographed=sum(one.outlook.last is not None and one.outlook.last.taken_at > since for one in items),
        to_look_at=sum(any(_is_new(item, since) for item in one.review) for one in items),
        new=sum(one.outlook.vessel.inoculated_at > since for one in items),
        out=sum(one.state in TAKEN_OUT for one in gone),
        closed=sum(one.state not in TAKEN_OUT for one in gone),
    )


def _is_new(item: ReviewItem, since: datetime) -> bool:
    return item.holds_back and item.since > since and item.subject not in (STALL, BEHIND)


def changes_since(
    farm: Farm, items: Sequence[TodayItem], earlier: Sequence[TodayItem], since: datetime
) -> list[Change]:
    """What today's items say that those of an earlier moment did not, most pressing first.

    earlier: the list of ``farm.as_known_at(since)``. Photos added late count for the day they were taken.
    """
    before = {one.outlook.vessel.id: one for one in earlier}
    changes = [found for item in items if (found := _change(item, before.get(item.outlook.vessel.id), since))]
    changes += [
        Change("out" if one.state in TAKEN_OUT else "closed", one, None, None, None, None)
        for one in closed_since(farm, since)
    ]
    return sorted(changes, key=lambda one: WHATS.index(one.what))


def day_before(farm: Farm) -> datetime:
    """A day before the farm's now."""
    return farm.now - timedelta(days=1)


def _change(item: TodayItem, before: TodayItem | None, since: datetime) -> Change | None:
    vessel, last = item.outlook.vessel, item.outlook.last
    if vessel.inoculated_at > since:
        return Change("new", vessel, None, last, None, item.outlook.ready.median)
    known = {one.key for one in before.review} if before else set()
    fresh = tuple(one for one in item.review if one.holds_back and one.key not in known)
    then = None if before is None else before.outlook
    was, now = (None if then is None else then.ready.median), item.outlook.ready.median
    if item.fruiting is not None:
        was = now = None
    is_moved = was is not None and now is not None and abs(days_between(was, now)) >= _MOVED_DAYS
    picked_kg = _picked_kg(item) - _picked_kg(before)
    what = "look" if fresh else _new_section(item, before)
    if what is None and picked_kg > 0:
        what = "picked"
    elif what is None and is_moved:
        what = "moved"
    elif what is None and last is not None and last.taken_at > since:
        what = "read"
    if what is None:
        return None
    return Change(what, vessel, None if then is None else then.last, last, was, now, fresh, picked_kg)


def _new_section(item: TodayItem, before: TodayItem | None) -> What | None:
    """What it means that an item stands in another section than before; None where it means nothing."""
    was = None if before is None else before.section
    if item.section == "harvest" and was != "harvest":
        return "pick"
    if item.section in _DUE and was not in _DUE:
        return "ready"
    return "cleared" if was == "look" and not item.needs_look else None


def _picked_kg(item: TodayItem | None) -> float:
    return 0.0 if item is None or item.fruiting is None else item.fruiting.fresh_kg
