"""Moments: stored as instants in UTC, shown on the farm's own clock.

A time without an offset (from a table, a camera, a file name) is read on the farm's clock; what people are shown
is the farm's clock again, without an offset. Days between two moments are true elapsed days.
"""

import time
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import lru_cache
from typing import TypeVar, overload
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from farm.store.errors import SettingsError

Day = TypeVar("Day", bound=date)

_SECONDS_PER_DAY = 86_400.0
#: Clocks (of a camera, a phone, this machine) may differ by so much before a moment counts as in the future.
CLOCK_SLACK = timedelta(days=1)
_EPOCH, _QUARTER = datetime(1970, 1, 1, tzinfo=UTC), timedelta(minutes=15)
#: Years that a date may lie in. Others are mistakes, and at the ends of the calendar a time zone leads out of it.
_FIRST_YEAR, _LAST_YEAR = 1900, 2999


def time_zone(name: str) -> tzinfo | None:
    """The zone of an IANA name; None (the machine's own zone) for an empty one. Raises SettingsError."""
    if not name:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise SettingsError(f"time_zone {name!r} is not a known time zone (an example: 'Europe/Vienna')") from None


def sane_moment(moment: Day) -> Day:
    """The moment or day itself. Raises ValueError for a year that must be a mistake: a typing error, a reset camera."""
    if not _FIRST_YEAR <= moment.year <= _LAST_YEAR:
        raise ValueError(f"the year {moment.year} is not between {_FIRST_YEAR} and {_LAST_YEAR}")
    return moment


def to_instant(moment: datetime, zone: tzinfo | None) -> datetime:
    """The moment in UTC, to the second; one without an offset is read on the farm's clock."""
    if moment.tzinfo is None and zone is not None:
        moment = moment.replace(tzinfo=zone)
    return moment.astimezone(UTC).replace(microsecond=0)


def on_farm_clock(instant: datetime, zone: tzinfo | None) -> datetime:
    """The instant as the farm's clock shows it, without an offset."""
    return instant.astimezone(zone).replace(tzinfo=None)


@overload
def iso(instant: datetime, zone: tzinfo | None) -> str: ...
@overload
def iso(instant: datetime | None, zone: tzinfo | None) -> str | None: ...
def iso(instant: datetime | None, zone: tzinfo | None) -> str | None:
    """ISO 8601 text of the farm's clock, to the minute where the seconds are zero; None stays None.

    Without an offset, except in the repeated hour when summer time ends: its second pass has one, so that the text read
    back gives the same instant.
    """
    if instant is None:
        return None
    ahead, is_second = _ahead((instant - _EPOCH) // _QUARTER, zone, time.tzname)
    moment = instant.astimezone(zone) if is_second else (instant.astimezone(UTC) + ahead).replace(tzinfo=None)
    return moment.isoformat(timespec="minutes" if moment.second == 0 else "seconds")


@lru_cache(maxsize=8192)
def _ahead(quarter: int, zone: tzinfo | None, _machine: tuple[str, str]) -> tuple[timedelta, bool]:
    """How far the farm's clock is ahead of UTC in a quarter of an hour since 1970, and whether it shows it once more.

    No clock is changed within such a quarter. Lists ask for tens of thousands of moments of a few weeks.
    """
    instant = _EPOCH + quarter * _QUARTER
    moment = instant.astimezone(zone)
    is_second = to_instant(moment.replace(tzinfo=None, fold=0), zone) != instant
    return moment.utcoffset() or timedelta(0), is_second


def day_words(moment: datetime | None) -> str:
    """A moment of the farm's clock as a day, such as "Mon 16 Mar 2026"; "" for None."""
    return "" if moment is None else f"{moment:%a} {moment.day} {moment:%b %Y}"


def span_words(low: datetime | None, high: datetime | None, year: int | None) -> str:
    """Two moments of the farm's clock as days, such as "14 Mar to 2 Apr"; an open end is "?", both open is "".

    The year stands where it is another than the given one.
    """
    if low is None and high is None:
        return ""
    ends = ["?" if end is None else f"{end.day} {end:%b}" + f" {end:%Y}" * (end.year != year) for end in (low, high)]
    return " to ".join(ends)


def days_between(earlier: datetime, later: datetime) -> float:
    """Elapsed days, negative if later comes first."""
    return (later - earlier).total_seconds() / _SECONDS_PER_DAY


def calendar_days(earlier: datetime, later: datetime, zone: tzinfo | None) -> int:
    """Days from one moment to another as a calendar counts them on the farm's clock: midnights between them."""
    return (on_farm_clock(later, zone).date() - on_farm_clock(earlier, zone).date()).days


def after_days(start: datetime, days: float | None) -> datetime | None:
    """The instant so many days after start, to the minute; None for None or beyond what a calendar holds."""
    if days is None:
        return None
    try:
        moment = start + timedelta(days=days)
        return (moment + timedelta(seconds=30)).replace(second=0, microsecond=0)
    except OverflowError:
        return None


def now() -> datetime:
    """The present instant, to the second."""
    return datetime.now(UTC).replace(microsecond=0)
