"""Export a farm's tables for other programs: CSV, optionally Parquet, with a data dictionary."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

from farm.store import Farm, output_folder
from farm.store.errors import SpawnrunError
from report.csv_output import csv_text
from report.export_tables import EXPORT_TABLES, ExportColumn, ExportTable, Value

DICTIONARY = "dictionary"
_DICTIONARY_COLUMNS = ("table", "column", "type", "unit", "meaning")


class ExportError(SpawnrunError):
    """The tables cannot be written."""


@dataclass(frozen=True)
class WrittenTable:
    """A file of the export and its number of rows."""

    path: Path
    rows: int


def export_farm(farm: Farm, folder: Path, *, parquet: bool = False) -> list[WrittenTable]:
    """The files written to the folder: every table of the farm, and dictionary.csv, which describes the columns.

    Times are ISO 8601 with offset, on the farm's clock; in Parquet, UTC instants. Raises ExportError.
    """
    if parquet:
        _require_pyarrow()
    written = []
    try:
        output_folder(folder)
        for table in EXPORT_TABLES:
            rows = [{one.name: one.of(row) for one in table.columns} for row in table.rows(farm)]
            names = [one.name for one in table.columns]
            texts = [{name: _in_csv(value, farm.zone) for name, value in row.items()} for row in rows]
            written.append(_written(folder / f"{table.name}.csv", csv_text(names, texts), len(rows)))
            if parquet:
                written.append(_write_parquet(folder / f"{table.name}.parquet", table, rows))
        entries = dictionary_entries()
        written.append(_written(folder / f"{DICTIONARY}.csv", csv_text(_DICTIONARY_COLUMNS, entries), len(entries)))
    except OSError as error:
        raise ExportError(f"{error.filename or folder}: cannot be written: {error.strerror}") from None
    return written


def dictionary_entries() -> list[dict[str, str]]:
    """One entry for each table (with an empty column name) and for each of its columns."""
    entries = []
    for table in EXPORT_TABLES:
        entries.append({"table": table.name, "column": "", "type": "", "unit": "", "meaning": table.meaning})
        entries += [
            {"table": table.name, "column": one.name, "type": one.type, "unit": one.unit, "meaning": one.meaning}
            for one in table.columns
        ]
    return entries


def _written(target: Path, text: str, rows: int) -> WrittenTable:
    target.write_text(text, "utf-8", newline="")
    return WrittenTable(target, rows)


def _in_csv(value: Value, zone: tzinfo | None) -> object:
    if isinstance(value, datetime):
        return value.astimezone(zone).isoformat(timespec="seconds")
    if isinstance(value, bool):
        return "yes" if value else "no"
    return round(value, 4) if isinstance(value, float) else value


def _require_pyarrow() -> None:
    try:
        import pyarrow.parquet  # noqa: F401 - only whether it is there
    except ImportError:
        raise ExportError(
            "Parquet needs the library pyarrow, which is large and therefore not installed by default:"
            " `python -m pip install pyarrow` in its environment, or leave --parquet out"
        ) from None


def _write_parquet(target: Path, table: ExportTable[Any], rows: Sequence[dict[str, Value]]) -> WrittenTable:
    import pyarrow as pa
    import pyarrow.parquet as pq

    types = {
        "text": pa.string(),
        "number": pa.float64(),
        "whole number": pa.int64(),
        "moment": pa.timestamp("ms", tz="UTC"),
        "yes or no": pa.bool_(),
    }
    schema = pa.schema([pa.field(one.name, types[one.type], metadata=_about(one)) for one in table.columns])
    pq.write_table(pa.Table.from_pylist(list(rows), schema=schema), target)
    return WrittenTable(target, len(rows))


def _about(column: ExportColumn[Any]) -> dict[str, str]:
    return {"meaning": column.meaning, "unit": column.unit}
