"""Times: the farm's clock and true elapsed days."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm.store import after_days, calendar_days, days_between, iso, to_instant
from farm.store.clock import time_zone
from farm.store.errors import SettingsError

VIENNA = ZoneInfo("Europe/Vienna")


def test_a_time_without_an_offset_is_read_on_the_farms_clock() -> None:
    assert to_instant(datetime(2026, 3, 1, 9, 30), VIENNA) == datetime(2026, 3, 1, 8, 30, tzinfo=UTC)
    assert to_instant(datetime.fromisoformat("2026-03-01T09:30+05:00"), VIENNA).hour == 4


def test_the_day_on_which_the_clocks_go_forward_has_23_hours() -> None:
    """Central European summer time began on 29 March 2026 at 01:00 UTC (EU Directive 2000/84/EC)."""
    first, second = (to_instant(datetime(2026, 3, day, 0, 0), VIENNA) for day in (29, 30))
    assert days_between(first, second) == pytest.approx(23 / 24)


@given(st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1)).map(lambda moment: moment.replace(microsecond=0)))
def test_a_time_as_shown_is_read_back_unchanged(moment: datetime) -> None:
    instant = moment.replace(tzinfo=UTC)
    shown = iso(instant, UTC)
    assert shown is not None
    assert to_instant(datetime.fromisoformat(shown), UTC) == instant


@pytest.mark.parametrize(
    ("name", "change"), [("Europe/Vienna", "2026-03-29T01:00"), ("Australia/Adelaide", "2026-10-03T16:30")]
)
def test_each_minute_around_a_change_of_the_clocks_is_shown_as_zoneinfo_has_it(name: str, change: str) -> None:
    """Changes to summer time; Adelaide is 9.5 hours ahead of UTC, so its clocks change at half past an hour of UTC."""
    zone, at = ZoneInfo(name), datetime.fromisoformat(change).replace(tzinfo=UTC)
    assert at.astimezone(zone).utcoffset() != (at - timedelta(minutes=1)).astimezone(zone).utcoffset()
    for minute in range(-40, 40):
        instant = at + timedelta(minutes=minute)
        assert iso(instant, zone) == instant.astimezone(zone).replace(tzinfo=None).isoformat(timespec="minutes")


def test_a_day_beyond_the_calendar_is_none() -> None:
    start = datetime(2026, 3, 1, tzinfo=UTC)
    assert after_days(start, 1.5) == start + timedelta(days=1, hours=12)
    assert after_days(start, 1e7) is None
    assert after_days(start, None) is None


def test_a_day_is_rounded_to_the_minute() -> None:
    start = datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert after_days(start + timedelta(seconds=29), 0.0) == start
    assert after_days(start + timedelta(seconds=31), 0.0) == start + timedelta(minutes=1)


def test_an_unknown_zone_is_reported() -> None:
    with pytest.raises(SettingsError, match="not a known time zone"):
        time_zone("Europe/Nowhere")


@pytest.mark.parametrize(("now", "days"), [("2026-03-08T00:10", 7), ("2026-03-08T18:00", 7), ("2026-03-09T00:10", 8)])
def test_days_of_the_calendar_are_counted_on_the_farms_clock(now: str, days: int) -> None:
    """Kiritimati is 14 hours ahead of Greenwich: its midnight is at 10 there."""
    zone = ZoneInfo("Pacific/Kiritimati")
    earlier, later = (datetime.fromisoformat(text).replace(tzinfo=zone) for text in ("2026-03-01T00:00", now))
    assert calendar_days(earlier.astimezone(UTC), later.astimezone(UTC), zone) == days
