"""Describe in words what has changed for a vessel."""

from datetime import datetime, tzinfo

from farm.lists import Change, NewSince
from farm.records.models import KeptReading
from farm.store import Units, day_words, days_between, on_farm_clock

#: Headings of the kinds of change, most urgent first.
CHANGE_HEADINGS = {
    "look": "New to look at",
    "pick": "Became due to be picked",
    "ready": "Became ready or due",
    "moved": "Day of readiness moved",
    "cleared": "No longer to look at",
    "picked": "Harvested",
    "out": "Removed as contaminated",
    "closed": "Closed",
    "new": "New vessels",
    "read": "New readings",
}


def change_words(change: Change, zone: tzinfo | None, units: Units) -> str:
    """What changed, such as "90 %, was 84 %; ready Sun 22 Mar 2026, 2 days later than forecast before"."""
    parts = [one.why for one in change.fresh]
    parts += [f"{units.weight(change.picked_kg)} picked"] if change.picked_kg > 0 else []
    parts += filter(None, [_percent_words(change.before, change.now), _day_words(change, zone)])
    return "; ".join(parts)


def _percent_words(before: KeptReading | None, now: KeptReading | None) -> str:
    if now is None or now.percent is None:
        return ""
    is_new = before is None or (before.photo_hash, before.slot) != (now.photo_hash, now.slot)
    if not is_new:
        return ""
    was = "" if before is None or before.percent is None else f", was {before.percent:.0f} %"
    return f"{now.percent:.0f} %{was}"


def _day_words(change: Change, zone: tzinfo | None) -> str:
    if change.ready_now is None:
        return "" if change.ready_before is None else "no forecast is possible any more"
    day = f"ready {_day(change.ready_now, zone)}"
    if change.ready_before is None:
        return day
    moved = days_between(change.ready_before, change.ready_now)
    if abs(moved) < 1.0:
        return day
    days = f"{abs(moved):.0f} day{'s' * (round(abs(moved)) != 1)}"
    return f"{day}, {days} {'later' if moved > 0 else 'earlier'} than forecast before"


def _day(moment: datetime, zone: tzinfo | None) -> str:
    return day_words(on_farm_clock(moment, zone))


def new_words(new: NewSince, units: Units) -> str:
    """What is new, in one line, such as "24 photographed, 2 more to look at"; "nothing new" for none."""
    picked = f" ({units.weight(new.picked_kg)})" if new.harvested else ""
    counts = {
        "photographed": new.photographed,
        f"harvested{picked}": new.harvested,
        "more to look at": new.to_look_at,
        "new": new.new,
        "taken out as contaminated": new.out,
        "closed": new.closed,
    }
    return ", ".join(f"{count} {words}" for words, count in counts.items() if count) or "nothing new"
