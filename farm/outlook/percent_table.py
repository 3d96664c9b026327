"""Forecasts from a table of percents alone (CSV), for people who judge by eye or measure by other means."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from farm.outlook.outlook import Moments, moments_of
from farm.outlook.vessel_readings import shakes_by_vessel
from farm.records import Line, PercentEventRow, PercentRow, read_table
from farm.records.models import Event
from farm.store import days_between, now, to_instant
from farm.store.errors import InputFileError

if TYPE_CHECKING:
    from growth.data import Forecast, Series


@dataclass(frozen=True)
class TableForecast:
    """The forecast of one vessel of a table of readings."""

    forecast: "Forecast"
    through: Moments
    ready: Moments


def forecast_table(
    readings: Path,
    events: Path | None = None,
    *,
    as_of: datetime | None = None,
    zone: tzinfo | None = None,
    through_percent: float = 99.0,
    laws: Sequence[str] = (),
) -> list[TableForecast]:
    """Forecasts from a CSV of readings alone, in the order in which the vessels first appear. Raises InputFileError.

    Events of vessels that have no reading are left out. as_of None: each vessel's last reading. Times without an
    offset are on the clock of the zone (None: the machine's). laws: names of growth laws; () is those usual.
    """
    from growth.data import ForecastSettings
    from growth.forecast import forecast

    rows = read_table(readings, PercentRow)
    by_vessel = _by_vessel(readings, rows)
    shakes = _table_shakes(events, by_vessel.keys(), zone)
    starts = {vessel: to_instant(lines[0].row.inoculated, zone) for vessel, lines in by_vessel.items()}
    series = [
        _table_series(lines, starts[vessel], shakes.get(vessel, ()), as_of, zone) for vessel, lines in by_vessel.items()
    ]
    return [
        TableForecast(one, moments_of(starts[one.vessel], one, "through"), moments_of(starts[one.vessel], one, "ready"))
        for one in forecast(series, settings=ForecastSettings(through_percent=through_percent, laws=tuple(laws)))
    ]


def _by_vessel(source: Path, rows: Sequence[Line[PercentRow]]) -> dict[str, list[Line[PercentRow]]]:
    """Rows by vessel in time order. Raises InputFileError where rows of a vessel disagree about the vessel."""
    by_vessel: dict[str, list[Line[PercentRow]]] = {}
    problems = []
    for line in rows:
        lines = by_vessel.setdefault(line.row.vessel, [])
        first = lines[0] if lines else line
        for column in ("kind", "species", "substrate", "batch", "inoculated", "temperature_c"):
            if getattr(first.row, column) != getattr(line.row, column):
                problems.append(
                    f"line {line.number}, column {column}: {line.row.vessel} has another on line {first.number}"
                )
        low, high = line.row.percent_low, line.row.percent_high
        if low is not None and high is not None and low > high:
            problems.append(f"line {line.number}, column percent_low: above percent_high")
        lines.append(line)
    if problems:
        raise InputFileError(str(source), problems)
    return by_vessel


def _table_shakes(source: Path | None, known: Iterable[str], zone: tzinfo | None) -> dict[str, tuple[datetime, ...]]:
    if source is None:
        return {}
    ours = set(known)
    rows = [line.row for line in read_table(source, PercentEventRow)]
    # A table of events often has those of the whole farm: events of vessels without readings are left out.
    events = [Event(row.vessel, row.event, to_instant(row.at, zone)) for row in rows if row.vessel in ours]
    return shakes_by_vessel(events, max((event.at for event in events), default=now()))


def _table_series(
    lines: Sequence[Line[PercentRow]],
    start: datetime,
    shaken_at: Sequence[datetime],
    as_of: datetime | None,
    zone: tzinfo | None,
) -> "Series":
    from growth.data import Series

    first = lines[0].row
    timed = sorted((days_between(start, to_instant(line.row.taken_at, zone)), line.number, line.row) for line in lines)
    as_of_day = None if as_of is None else days_between(start, as_of)
    used = [(day, row) for day, _, row in timed if as_of_day is None or day <= as_of_day]
    return Series(
        vessel=first.vessel,
        kind=first.kind,
        species=first.species,
        substrate=first.substrate,
        batch=first.batch,
        days=tuple(day for day, _ in used),
        percent=tuple(row.percent for _, row in used),
        low=tuple(row.percent_low for _, row in used),
        high=tuple(row.percent_high for _, row in used),
        shaken_days=tuple(days_between(start, at) for at in shaken_at),
        as_of_day=as_of_day,
        temperature_c=first.temperature_c,
    )
