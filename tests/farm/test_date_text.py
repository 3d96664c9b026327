"""Dates as people and spreadsheets write them."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from farm.records import import_vessels, list_vessels
from farm.store import DateOrder, Farm, moment_of_text, open_farm, without_day_word
from farm.store.errors import InputFileError

MARCH_2 = datetime(2026, 3, 2)


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-02",
        "2026-3-2",
        "2026/03/02",
        "2 Mar 2026",
        "2. March 2026",
        "02-Mar-2026",
        "Mar 2, 2026",
        "MARCH 2 2026",
    ],
)
def test_an_unambiguous_date_needs_no_setting(text: str) -> None:
    assert moment_of_text(text) == MARCH_2
    assert moment_of_text(f" {text} ", "month first") == MARCH_2


@pytest.mark.parametrize("text", ["2 Mar 2026 14:30", "3/2/2026 2:30 PM", "2026-03-02T14:30", "03.02.2026, 14:30:00"])
def test_a_time_may_follow(text: str) -> None:
    assert moment_of_text(text, "month first") == MARCH_2.replace(hour=14, minute=30)


def test_noon_and_midnight_of_a_clock_of_twelve_hours() -> None:
    assert [moment_of_text(f"2 Mar 2026 12:05 {half}").hour for half in ("AM", "PM")] == [0, 12]


@pytest.mark.parametrize(
    ("text", "day_first", "month_first"), [("3/2/2026", (2, 3), (3, 2)), ("02.03.2026", (3, 2), (2, 3))]
)
def test_a_date_in_numbers_is_read_by_the_setting(
    text: str, day_first: tuple[int, int], month_first: tuple[int, int]
) -> None:
    read = [moment_of_text(text, "day first"), moment_of_text(text, "month first")]
    assert [(one.month, one.day) for one in read] == [day_first, month_first]
    with pytest.raises(ValueError, match=r"in farm\.toml"):
        moment_of_text(text)


@pytest.mark.parametrize("text", ["14/3/2026", "3/14/2026"])
def test_a_number_above_twelve_is_a_day_without_a_setting(text: str) -> None:
    assert moment_of_text(text) == datetime(2026, 3, 14)


@pytest.mark.parametrize(
    ("text", "order", "said"),
    [
        (
            "3/2/2026",
            "",
            r"is it 3 February or 2 March\? Write 2026-02-03 or 2026-03-02, or set date_order",
        ),
        ("14/3/2026", "month first", "no such day or time"),
        ("30 Feb 2026", "", "no such day or time"),
        ("2 Foo 2026", "", "no month is called Foo"),
        ("3/2/26", "day first", "not a date or time"),
        ("2 Mar 2026 13:00 PM", "", "no clock shows 13 Pm"),
        ("2 Mar 1066", "", "the year 1066"),
    ],
)
def test_other_texts_are_refused(text: str, order: DateOrder, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        moment_of_text(text, order)


def test_a_table_asks_by_line_until_the_farm_says_its_order(farm: Farm, tmp_path: Path) -> None:
    source = tmp_path / "vessels.csv"
    source.write_text("vessel,kind,inoculated\nB001,bag,3/2/2026\nB002,bag,2 Mar 2026\nB003,bag,13.2.2026\n")
    with pytest.raises(InputFileError, match=r"line 2, column inoculated: '3/2/2026': is it 3 February or 2 March\?"):
        import_vessels(farm, source)
    settings = farm.folder / "farm.toml"
    settings.write_text(settings.read_text().replace('date_order = ""', 'date_order = "day first"'))
    with open_farm(farm.folder) as told:
        import_vessels(told, source)
        days = [one.inoculated_at.astimezone(told.zone).date() for one in list_vessels(told)]
    assert [(one.month, one.day) for one in days] == [(2, 3), (3, 2), (2, 13)]
    assert all(one.inoculated_at.tzinfo is UTC for one in list_vessels(farm))


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("today", "2026-03-02"),
        ("Yesterday", "2026-03-01"),
        ("tomorrow", "2026-03-03"),
        ("3 days ago", "2026-02-27"),
        ("1 day ago", "2026-03-01"),
        ("yesterday 9:30", "2026-03-01T09:30"),
        ("yesterday at 18:05", "2026-03-01T18:05"),
        ("today, 18:05", "2026-03-02T18:05"),
        ("2026-03-02", "2026-03-02"),
        ("yesterdays", "yesterdays"),
        ("99999 days ago", "1752-05-18"),
        ("last week", "last week"),
    ],
)
def test_a_day_typed_as_a_word_is_counted_from_today(text: str, day: str) -> None:
    """99999 days before 2 March 2026 is 18 May 1752 (Python's calendar, checked with `date -d`)."""
    assert without_day_word(text, MARCH_2.date()) == day
