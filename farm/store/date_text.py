"""Dates and times as people and spreadsheets write them."""

import re
from datetime import date, datetime, time, timedelta
from typing import Literal

from farm.store.clock import sane_moment

#: How the farm writes a date in numbers; "" is not said: one that may be read in two ways is then asked about.
DateOrder = Literal["", "day first", "month first"]

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_WHOLE_MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
                 "november", "december")  # fmt: skip
_TIME = r"(?:[ ,T]+(?P<hour>\d{1,2}):(?P<minute>\d\d)(?::(?P<second>\d\d))?(?: ?(?P<half>[ap])\.?m\.?)?)?"
_NUMBERS = re.compile(rf"(?P<first>\d{{1,2}})([./-])(?P<other>\d{{1,2}})\2(?P<year>\d{{4}}){_TIME}", re.IGNORECASE)
_YEAR_FIRST = re.compile(rf"(?P<year>\d{{4}})([./-])(?P<month>\d{{1,2}})\2(?P<day>\d{{1,2}}){_TIME}", re.IGNORECASE)
_DAY_WORD = re.compile(rf"(?P<day>\d{{1,2}})\.?[ -](?P<word>[a-z]+)\.?,?[ -](?P<year>\d{{4}}){_TIME}", re.IGNORECASE)
_WORD_DAY = re.compile(rf"(?P<word>[a-z]+)\.? (?P<day>\d{{1,2}}),? (?P<year>\d{{4}}){_TIME}", re.IGNORECASE)
_CLOCK = r"(?:,? (?:at )?(?P<clock>\d{1,2}:\d\d))?"
_DAY_NAME = re.compile(rf"(?:(?P<word>today|yesterday|tomorrow)|(?P<ago>\d{{1,5}}) days? ago){_CLOCK}", re.IGNORECASE)
_HOURS_A_HALF = 12
_MONTHS_A_YEAR = 12


def moment_of_text(text: object, order: DateOrder = "") -> datetime:
    """A date (its first minute) or time without or with an offset.

    Written as in ISO 8601 (2026-03-02, 2026-03-02T14:30), with the month's English name (2 Mar 2026, March 2, 2026), or
    in numbers (02.03.2026, 3/2/2026 14:30) in the farm's order. Raises ValueError for another text, and for numbers
    that may be read in two ways where the order is not known.
    """
    if isinstance(text, datetime):
        return sane_moment(text)
    if isinstance(text, date):
        return sane_moment(datetime.combine(text, time()))
    written = " ".join(str(text).split())
    try:
        found = datetime.fromisoformat(written)
    except ValueError:
        found = _other_way(written, order)
    return sane_moment(found)


def without_day_word(text: str, today: date) -> str:
    """A text that begins with today, yesterday, tomorrow or "3 days ago" with that day instead; another as it is.

    Only for what is typed: in a table such a word would mean another day each time.
    """
    written = " ".join(text.split())
    match = _DAY_NAME.fullmatch(written)
    if match is None:
        return text
    days = -int(match["ago"]) if match["ago"] else {"yesterday": -1, "today": 0, "tomorrow": 1}[match["word"].lower()]
    clock = match["clock"] or ""
    try:
        return f"{(today + timedelta(days=days)).isoformat()}{f'T{clock:0>5}' if clock else ''}"
    except OverflowError:
        return text


def _other_way(text: str, order: DateOrder) -> datetime:
    for pattern in (_YEAR_FIRST, _DAY_WORD, _WORD_DAY):
        if match := pattern.fullmatch(text):
            month = _month(match["word"]) if "word" in match.re.groupindex else int(match["month"])
            return _moment(match, month, int(match["day"]))
    if match := _NUMBERS.fullmatch(text):
        return _moment(match, *_month_and_day(match, order))
    raise ValueError("not a date or time, such as 2026-03-01, 2026-03-01T09:30 or 1 Mar 2026")


def _month(word: str) -> int:
    lower = word.lower()
    if lower in _WHOLE_MONTHS:
        return _WHOLE_MONTHS.index(lower) + 1
    if lower[:3] in _MONTHS and lower in (lower[:3], "sept"):
        return _MONTHS.index(lower[:3]) + 1
    raise ValueError(f"no month is called {word}")


def _month_and_day(match: re.Match[str], order: DateOrder) -> tuple[int, int]:
    first, other = int(match["first"]), int(match["other"])
    if order == "month first":
        return first, other
    if order == "day first":
        return other, first
    if first > _MONTHS_A_YEAR or first == other:
        return other, first
    if other > _MONTHS_A_YEAR:
        return first, other
    year = int(match["year"])
    days = [f"{day} {_WHOLE_MONTHS[month - 1].capitalize()}" for month, day in ((other, first), (first, other))]
    iso = " or ".join(f"{year}-{month:02}-{day:02}" for month, day in ((other, first), (first, other)))
    raise ValueError(f"is it {days[0]} or {days[1]}? Write {iso}, or set date_order in farm.toml")


def _moment(match: re.Match[str], month: int, day: int) -> datetime:
    hour, minute, second = (int(match[name] or 0) for name in ("hour", "minute", "second"))
    if match["half"]:
        if not 1 <= hour <= _HOURS_A_HALF:
            raise ValueError(f"no clock shows {hour} {match['half']}m")
        hour = hour % _HOURS_A_HALF + _HOURS_A_HALF * (match["half"].lower() == "p")
    try:
        return datetime(int(match["year"]), month, day, hour, minute, second)  # noqa: DTZ001 - the farm's clock
    except ValueError as error:
        raise ValueError(f"no such day or time: {error}") from None
