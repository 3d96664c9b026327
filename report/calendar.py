"""Days of readiness as a calendar to import (iCalendar, RFC 5545).

Each day with an event has one reminder. Each vessel has one event with a constant UID, so importing again moves the
event instead of adding another. If a vessel is closed or has no forecast any more, its event is sent as cancelled,
which removes it.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import NAMESPACE_URL, uuid5

from calibration import species_name, vessel_uses
from farm.lists import LOOK_FIRST, TodayItem
from farm.records import list_vessels
from farm.records.models import Vessel
from farm.store import Farm, day_words, days_between, farm_identity, on_farm_clock, output_file, span_words
from farm.store.errors import SpawnrunError
from report.cautions import CAUTIONS, FOOD_CAUTION, SPORE_CAUTION
from report.safe_text import visible

if TYPE_CHECKING:
    from icalendar import Alarm, Event

#: Hour of the day of a reminder.
_REMINDER_HOUR = 8
#: For this many days after a vessel was closed its event is sent as cancelled; by then calendars that are imported
#: from time to time have removed it.
_CANCELLED_FOR_DAYS = 120.0
_SECONDS_PER_MINUTE = 60


class CalendarError(SpawnrunError):
    """The calendar cannot be written."""


def write_calendar(farm: Farm, items: Sequence[TodayItem], target: Path) -> int:
    """Number of vessels with a day, after writing the calendar of today's list.

    Raises CalendarError or OutputPathError.
    """
    output_file(target)
    try:
        target.write_bytes(calendar_bytes(farm, items))
    except OSError as error:
        raise CalendarError(f"{target}: cannot be written: {error.strerror}") from None
    return sum(item.outlook.ready.median is not None for item in items)


def calendar_bytes(farm: Farm, items: Sequence[TodayItem]) -> bytes:
    """The calendar as iCalendar text in UTF-8, with line folding and line ends as in RFC 5545."""
    from icalendar import Calendar

    identity = farm_identity(farm)
    calendar = Calendar()
    calendar.add("prodid", f"-//spawnrun//spawnrun {version('spawnrun')}//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", visible(farm.folder.resolve().name))
    listed = {item.outlook.vessel.id for item in items}
    reminded: set[str] = set()
    for item in items:
        event = _event(farm, identity, item)
        day = str(event["dtstart"].to_ical())
        # One reminder a day, however many vessels: a batch is ready on one day.
        if str(event["status"]) == "TENTATIVE" and day not in reminded:
            reminded.add(day)
            event.add_component(_reminder(str(event["summary"])))
        calendar.add_component(event)
    for vessel in list_vessels(farm):
        gone_days = None if vessel.closed_at is None else days_between(vessel.closed_at, farm.now)
        if vessel.id not in listed and (gone_days is None or gone_days <= _CANCELLED_FOR_DAYS):
            calendar.add_component(_cancelled(farm, identity, vessel))
    return bytes(calendar.to_ical())


def _event(farm: Farm, identity: str, item: TodayItem) -> "Event":
    """An all-day event, on the farm's clock, for the day on which a vessel is ready, or is to be picked.

    The day is today for vessels that are ready or overdue, and for those that must be looked at before use.
    """
    vessel = item.outlook.vessel
    is_past = item.fruiting is not None and item.fruiting.stage in ("late", "past")
    if not item.needs_look and (item.day is None or is_past):
        return _cancelled(farm, identity, vessel)
    today = on_farm_clock(farm.now, farm.zone).date()
    day = today if item.day is None else on_farm_clock(item.day, farm.zone).date()
    event = _blank(farm, identity, vessel, today if item.needs_look else max(today, day))
    event.add("summary", visible(f"{vessel.id}: {_action(item)}"))
    event.add("description", "\n".join(map(visible, _description(farm, item))))
    event.add("status", "TENTATIVE")
    event.add("categories", [vessel.kind])
    return event


def _reminder(summary: str) -> "Alarm":
    """A reminder at _REMINDER_HOUR of the event's day (RFC 5545, 3.6.6)."""
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", timedelta(hours=_REMINDER_HOUR))
    alarm.add("description", f"{summary}; more may be due today")
    return alarm


def _description(farm: Farm, item: TodayItem) -> list[str]:
    """The lines of the event's description."""
    outlook, vessel = item.outlook, item.outlook.vessel
    low, median, high = (
        None if end is None else on_farm_clock(end, farm.zone)
        for end in (outlook.ready.low, outlook.ready.median, outlook.ready.high)
    )
    batch = f"batch {vessel.batch}" if vessel.batch else ""
    lines = [", ".join(filter(None, (vessel.kind, species_name(vessel.species), vessel.substrate, batch)))]
    if median is not None and item.fruiting is None:
        lines.append(f"Ready {day_words(median)}; 80 % sure: {span_words(low, high, median.year)}.")
    if outlook.last is not None and outlook.last.percent is not None and item.fruiting is None:
        seen = day_words(on_farm_clock(outlook.last.taken_at, farm.zone))
        lines.append(f"{outlook.last.percent:.0f} % of the visible face colonised on {seen}.")
    lines += [f"Note: {mark}." for mark in item.marks]
    if any(one.suspect is not None for one in item.review):
        return [*lines, *CAUTIONS]
    if item.fruiting is not None:
        return [*lines, "This day is usual for the species: look at the vessel before.", FOOD_CAUTION, SPORE_CAUTION]
    return [*lines, "This day is a forecast: look at the vessel before you act. The inside cannot be seen."]


def _action(item: TodayItem) -> str:
    """What to do on the day of a vessel: one that is only forecast as ready is to be photographed first."""
    if item.needs_look:
        return f"{LOOK_FIRST} ({', '.join(item.marks)})"
    if item.fruiting is not None:
        return f"harvest flush {item.fruiting.next_flush}"
    ready = _ready_words(item.outlook.vessel)
    return f"take a photo (by its forecast {ready})" if item.section == "due" else ready


def _ready_words(vessel: Vessel) -> str:
    return vessel_uses()[vessel.used_for].ready


def _cancelled(farm: Farm, identity: str, vessel: Vessel) -> "Event":
    event = _blank(farm, identity, vessel, on_farm_clock(vessel.closed_at or farm.now, farm.zone).date())
    event.add("summary", visible(f"{vessel.id}: {_ready_words(vessel)}"))
    event.add("status", "CANCELLED")
    return event


def _blank(farm: Farm, identity: str, vessel: Vessel, day: date) -> "Event":
    from icalendar import Event

    event = Event()
    event.add("uid", f"{uuid5(NAMESPACE_URL, f'spawnrun:{identity}:{vessel.id}:ready')}@spawnrun")
    event.add("dtstamp", farm.now)
    event.add("last-modified", farm.now)
    # Increases with each export, so that calendars accept the newer event.
    event.add("sequence", int(farm.now.timestamp()) // _SECONDS_PER_MINUTE)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    return event
