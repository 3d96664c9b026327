"""`spawnrun agree`: a person's estimates beside the readings."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from cli.options import FarmOption, Format, FormatOption, WhyOption, chosen_farm
from cli.printed_vessels import rounded
from cli.render import Column, Record, echo, print_list, say, visible
from farm.outlook import bring_up_to_date
from farm.store import Farm, iso
from farm.study import Estimate, EyeCheck, EyePair, MethodAgreement, check_by_eye

#: Measures whose names only a statistician knows; programs get them always.
_FOR_WHO_ASKS = ("concordance",)
_DIGITS = {"pairs": 0, "concordance": 3}
MEASURES = (
    Column("", lambda one: one["says"]),
    Column("value", lambda one: _figure(one, "value"), right=True),
    Column("95 % sure", lambda one: "" if one["low"] is None else f"{_figure(one, 'low')} to {_figure(one, 'high')}"),
)
PAIRS = (
    Column("vessel", lambda one: one["vessel"]),
    Column("taken", lambda one: one["taken_at"].replace("T", " ")),
    Column("by eye", lambda one: f"{one['by_eye']:.0f}", right=True),
    Column("read", lambda one: f"{one['percent']:.0f}", right=True),
    Column("difference", lambda one: f"{one['difference']:+.0f}", right=True),
    Column("photo", lambda one: one["photo"]),
)


def agree(
    table: Annotated[Path, typer.Argument(metavar="EYE.csv", help="Columns vessel, percent, and photo or taken_at.")],
    pairs: Annotated[bool, typer.Option("--pairs", help="List every estimate with its reading instead.")] = False,
    worst: Annotated[int, typer.Option("--worst", min=0, help="How many of those that differ most to show.")] = 8,
    within_hours: Annotated[
        float, typer.Option("--within-hours", min=0, help="How far from taken_at a reading may lie.")
    ] = 12.0,
    why: WhyOption = False,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """How well do the readings agree with your own eye? Bias, usual difference, and where they differ.

    Judge some thirty photos over the whole range before you look at their readings, and write them down: a photo is
    known by its file name; a vessel judged on the shelf by the time you did (the nearest reading is taken). Differences
    are reading minus eye, in points of percent; --why adds the concordance. An eye is no truth either: look at the
    pictures that differ most.

    Example: spawnrun agree eye.csv --farm my-farm
    """
    with chosen_farm(folder) as farm:
        bring_up_to_date(farm)
        check = check_by_eye(farm, table, within_hours=within_hours)
        listed = [_pair(pair, farm) for pair in check.pairs]
        if pairs:
            print_list(listed, PAIRS, style, if_empty="no estimate has a reading")
        else:
            measures = _measures(check.agreement)
            if style is Format.table and not why:
                measures = [one for one in measures if one.measure not in _FOR_WHO_ASKS]
            print_list(measures, MEASURES, style, if_empty="no estimate has a reading")
            if style is Format.table and listed[:worst]:
                echo("\nThose that differ most")
                print_list(listed[:worst], PAIRS, style)
    _print_notes(check)


def _figure(one: Record, name: str) -> str:
    return f"{one[name]:.{_DIGITS.get(one['measure'], 1)}f}"


@dataclass(frozen=True)
class MeasureRecord:
    """A measure of agreement of `spawnrun agree`, with its 95 % interval where it has one."""

    measure: str
    says: str
    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class PairRecord:
    """An estimate by eye and its reading, of `spawnrun agree --pairs`. difference: reading minus eye."""

    vessel: str | None
    photo: str
    taken_at: str
    by_eye: float
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    difference: float
    flags: tuple[str, ...]


def _measures(agreement: MethodAgreement | None) -> list[MeasureRecord]:
    if agreement is None:
        return []
    low, high = agreement.limits or (None, None)
    rows = (
        ("pairs", "estimates with a reading", Estimate(agreement.n)),
        ("bias", "bias: reading minus eye, points", agreement.bias),
        ("mean_difference", "mean difference either way, points", Estimate(agreement.mean_difference)),
        ("limit_low", "95 of 100 differences lie above", low),
        ("limit_high", "95 of 100 differences lie below", high),
        ("concordance", "concordance (Lin), 1 is the same", agreement.concordance),
    )
    return [
        MeasureRecord(name, says, round(float(one.value), 4), rounded(one.low, 4), rounded(one.high, 4))
        for name, says, one in rows
        if one is not None
    ]


def _pair(pair: EyePair, farm: Farm) -> PairRecord:
    reading = pair.reading
    return PairRecord(
        vessel=reading.vessel,
        photo=reading.photo,
        taken_at=iso(reading.taken_at, farm.zone),
        by_eye=round(pair.by_eye, 2),
        percent=rounded(reading.percent),
        percent_low=rounded(reading.percent_low),
        percent_high=rounded(reading.percent_high),
        difference=round(pair.difference, 2),
        flags=reading.flags,
    )


def _print_notes(check: EyeCheck) -> None:
    if check.agreement is not None and check.n_vessels < len(check.pairs):
        say(
            f"{len(check.pairs)} estimates are of {check.n_vessels} vessels: estimates of one vessel resemble each"
            " other, so the intervals are rather too narrow"
        )
    for number, why in check.unmatched:
        say(f"line {number} left out: {visible(why)}")
