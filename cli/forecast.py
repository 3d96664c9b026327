"""`spawnrun forecast`: from a table of percents alone, for people who judge by eye."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from cli.options import AsOfOption, Format, FormatOption, LawOption, chosen_laws, instant
from cli.printed_vessels import rounded
from cli.render import Column, day_text, print_list, span_text
from farm.outlook import TableForecast, forecast_table
from farm.store import iso
from report import STATUS_WORDS

COLUMNS = (
    Column("vessel", lambda one: one["vessel"]),
    Column("status", lambda one: STATUS_WORDS[one["status"]]),
    Column("% now", lambda one: "" if one["percent_now"] is None else f"{one['percent_now']:.0f}", right=True),
    Column("colonised through", lambda one: day_text(one["ready_median"])),
    Column("80 % sure", lambda one: span_text(one)),
    Column("note", lambda one: "; ".join(one["notes"])),
)


def forecast(
    readings: Annotated[
        Path, typer.Argument(metavar="READINGS.csv", help="One row for each time a vessel was judged.")
    ],
    events: Annotated[
        Path | None, typer.Option("--events", metavar="EVENTS.csv", help="Columns vessel, event, at (shakes).")
    ] = None,
    through: Annotated[
        float, typer.Option("--through", min=50, max=99.9, help="Percent that counts as through.")
    ] = 99.0,
    law: LawOption = None,
    as_of: AsOfOption = None,
    style: FormatOption = Format.json,
) -> None:
    """When will each vessel be colonised through? From a table of percents, without photos or a farm.

    Columns: vessel, kind, inoculated, taken_at, percent; optional species, substrate, batch, percent_low,
    percent_high, temperature_c (mean of its place). ready_median, ready_low and ready_high are the moment at which the
    true percent reaches the threshold, with an 80 % interval, as of each vessel's last reading unless --as-of.

    Example: spawnrun forecast readings.csv --events events.csv --format table
    """
    moment = instant(as_of, None, "--as-of")
    forecasts = forecast_table(readings, events, as_of=moment, through_percent=through, laws=chosen_laws(law))
    print_list([_record(one) for one in forecasts], COLUMNS, style)


@dataclass(frozen=True)
class ForecastRecord:
    """A vessel of `spawnrun forecast`: the moment at which its true percent reaches the threshold, with 80 % bounds."""

    vessel: str
    percent_now: float | None
    status: str
    ready_median: str | None
    ready_low: str | None
    ready_high: str | None
    percent_per_day: float | None
    notes: tuple[str, ...]


def _record(one: TableForecast) -> ForecastRecord:
    return ForecastRecord(
        vessel=one.forecast.vessel,
        percent_now=rounded(one.forecast.percent_now),
        status=one.forecast.status,
        ready_median=iso(one.through.median, None),
        ready_low=iso(one.through.low, None),
        ready_high=iso(one.through.high, None),
        percent_per_day=rounded(one.forecast.percent_per_day),
        notes=tuple(one.forecast.notes),
    )
