"""Options that several commands share, each written once, and the farm they choose."""

from datetime import datetime, time, timedelta
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration import KINDS, USES
from farm.records import moment
from farm.store import (
    Farm,
    find_farm,
    find_farm_folder,
    iso,
    now,
    on_farm_clock,
    open_farm,
    to_instant,
    without_day_word,
)


class Format(StrEnum):
    """How a list is written to standard output."""

    table = "table"
    json = "json"
    csv = "csv"


if TYPE_CHECKING:
    KindName = Format  # any enumeration of strings: its members come from calibration's table
    UseName = Format
else:
    KindName = StrEnum("KindName", {name: name for name in KINDS})
    UseName = StrEnum("UseName", {name: name for name in USES})


class LabelSizeName(StrEnum):
    """Sizes of the label, as the command line takes them."""

    normal = "normal"
    small = "small"


class LawName(StrEnum):
    """Growth laws, as the command line takes them; a test holds them to those that growth knows."""

    kjma = "kjma"
    logistic = "logistic"
    gompertz = "gompertz"
    richards = "richards"
    linear = "linear"
    radial = "radial"


VesselsArgument = Annotated[
    list[str], typer.Argument(metavar="VESSELS", help="Ids, such as B001 B007, or a range of them: B001..B020.")
]
FarmOption = Annotated[
    Path | None,
    typer.Option("--farm", metavar="DIR", envvar="SPAWNRUN_FARM", help="The farm folder; else the one you are in."),
]
FormatOption = Annotated[Format, typer.Option("--format", help="How to print the list.")]
AsOfOption = Annotated[
    str | None,
    typer.Option(
        "--as-of", metavar="TIME", help="Answer as of then, with what was known: a day (its end) or a moment."
    ),
]
LawOption = Annotated[
    LawName | None,
    typer.Option("--law", help="Let the curve follow this growth law alone, not an average of those that fit."),
]
WhyOption = Annotated[bool, typer.Option("--why", help="Also the numbers behind it, for who asks.")]
WorkersOption = Annotated[
    int | None, typer.Option("--workers", min=1, metavar="N", help="Worker processes; else one for each core.")
]


def chosen_farm(folder: Path | None, as_of: str | None = None) -> Farm:
    """The farm of --farm, or the one that the working folder lies in; as known at the moment of --as-of, if given."""
    farm = find_farm(Path.cwd()) if folder is None else open_farm(folder)
    try:
        return farm.as_known_at(_as_of(as_of, farm))
    except typer.BadParameter:
        farm.close()
        raise


def _as_of(text: str | None, farm: Farm) -> datetime | None:
    """The moment of --as-of; of a day alone its end, since that day's photos belong to it; today, it is now."""
    begin = instant(text, farm, "--as-of")
    if text is None or begin is None or ":" in text or on_farm_clock(begin, farm.zone).time() != time():
        return begin
    day = on_farm_clock(begin, farm.zone).date()
    end = to_instant(datetime.combine(day, time(23, 59, 59)), farm.zone)
    return min(end, farm.now) if begin <= farm.now else end


def day_of_word(text: str, farm: Farm) -> str:
    """A day that is typed as a word, such as "yesterday", as a date; another text as it is."""
    return without_day_word(text, on_farm_clock(farm.now, farm.zone).date())


def chosen_folder(folder: Path | None) -> Path:
    """The folder of that farm, which is not opened."""
    return find_farm_folder(Path.cwd()) if folder is None else folder


def chosen_laws(law: LawName | None) -> tuple[str, ...]:
    """The law of --law alone; () where none was asked for."""
    return () if law is None else (law.value,)


def instant(text: str | None, farm: Farm | None, option: str) -> datetime | None:
    """The time of an option on a farm's clock and in its order of dates (None: the machine's); None stays None.

    "yesterday" and the like count from the farm's now.
    """
    if text is None:
        return None
    try:
        if farm is None:
            return to_instant(moment(without_day_word(text, now().astimezone().date())), None)
        return to_instant(moment(day_of_word(text, farm), farm.settings.date_order), farm.zone)
    except ValueError as error:
        raise typer.BadParameter(f"{text!r}: {error}", param_hint=option) from None


def named_span(text: str, farm: Farm, option: str) -> tuple[datetime, datetime]:
    """What a typed day or time may mean of what was noted: begin and end of that day, of that minute or second."""
    begin = instant(text, farm, option) or farm.now
    local = on_farm_clock(begin, farm.zone)
    if ":" not in text and local.time() == time():
        return begin, to_instant(datetime.combine(local.date() + timedelta(days=1), time()), farm.zone)
    return begin, begin + timedelta(seconds=1 if local.second else 60)


def past_instant(text: str | None, farm: Farm, option: str) -> datetime | None:
    """As ``instant``, of something that was done already: a typed time is held to the clock, without slack."""
    found = instant(text, farm, option)
    if found is not None and found > max(farm.now, now()):
        raise typer.BadParameter(f"{text!r}: {iso(found, farm.zone)} has not come yet", param_hint=option)
    return found
