"""The export, read back by an independent CSV reader and as Parquet by pyarrow, and imported again."""

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet
import pytest

from farm.outlook import list_outlooks
from farm.records import add_event, add_note, add_vessels, import_vessels, list_vessels
from farm.records.models import Vessel
from farm.review import give_verdict, review_items
from farm.store import Farm, create_farm
from report import csv_text, export_farm
from report.export import ExportError

TABLES = ["vessels", "readings", "suspects", "events", "harvests", "notes", "verdicts", "forecasts"]
ODD = '=SUM(A1)\r\nsays "hi", שלום; <b>'


def column(table: pa.Table, name: str) -> list[Any]:
    return list(table[name].to_pylist())


def read_csv(path: Path) -> pa.Table:
    """Read with every cell as text, and line breaks inside quotes (RFC 4180)."""
    names = path.read_text("utf-8").split("\r\n", 1)[0].split(",")
    return pyarrow.csv.read_csv(
        path,
        parse_options=pyarrow.csv.ParseOptions(newlines_in_values=True),
        convert_options=pyarrow.csv.ConvertOptions(column_types=dict.fromkeys(names, pa.string())),
    )


@pytest.fixture
def exported(shelf: Farm, tmp_path: Path) -> Path:
    add_note(shelf, "B001", ODD)
    add_event(shelf, "B001", "moved", datetime(2026, 3, 4, 9, tzinfo=UTC))
    export_farm(shelf, tmp_path / "out", parquet=True)
    return tmp_path / "out"


def test_every_table_has_a_file_and_every_column_a_meaning(exported: Path) -> None:
    entries = read_csv(exported / "dictionary.csv").to_pylist()
    assert all(one["meaning"] for one in entries)
    for name in TABLES:
        table = read_csv(exported / f"{name}.csv")
        described = [one["column"] for one in entries if one["table"] == name and one["column"]]
        assert table.column_names == described
        assert pyarrow.parquet.read_table(exported / f"{name}.parquet").column_names == described
    for name in ("percent", "area_cm2", "mm_per_px", "face_width_mm"):
        assert next(one["unit"] for one in entries if one["column"] == name)


def test_figures_equal_those_of_the_farm_in_both_formats(shelf: Farm, exported: Path) -> None:
    for outlook in list_outlooks(shelf):
        for table in (read_csv(exported / "forecasts.csv"), pyarrow.parquet.read_table(exported / "forecasts.parquet")):
            (row,) = [one for one in table.to_pylist() if one["vessel"] == outlook.vessel.id]
            median = row["ready_median"]
            median = datetime.fromisoformat(median) if isinstance(median, str) else median
            assert median == outlook.ready.median
            assert float(row["percent_now"]) == pytest.approx(outlook.forecast.percent_now)
    readings = pyarrow.parquet.read_table(exported / "readings.parquet")
    assert readings.schema.field("percent").type == pa.float64()
    assert readings.schema.field("taken_at").type == pa.timestamp("ms", tz="UTC")
    assert readings.schema.field("percent").metadata[b"unit"] == b"%"
    assert [float(one) for one in column(read_csv(exported / "readings.csv"), "percent")] == column(readings, "percent")


def test_no_cell_is_a_formula_and_text_is_complete(exported: Path) -> None:
    assert column(read_csv(exported / "notes.csv"), "text") == [f"'{ODD}"]
    assert column(pyarrow.parquet.read_table(exported / "notes.parquet"), "text") == [ODD]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_each_beginning_of_a_formula_is_neutralised_and_numbers_stay_numbers(start: str) -> None:
    """The beginnings listed on OWASP's page on CSV injection (as of August 2025)."""
    text = csv_text(["a", "b"], [{"a": f"{start}1+1", "b": -4.5}])
    assert text.startswith("a,b\r\n")
    assert f"'{start}1+1" in text
    assert text.endswith(",-4.5\r\n")


def test_exported_vessels_can_be_imported(shelf: Farm, exported: Path, tmp_path: Path) -> None:
    with create_farm(tmp_path / "other") as other:
        count = import_vessels(other, exported / "vessels.csv")
        assert count.added == 3
        assert list_vessels(other) == list_vessels(shelf)


def test_the_use_of_an_exported_vessel_is_imported(shelf: Farm, tmp_path: Path) -> None:
    start = datetime(2026, 3, 1, 8, tzinfo=UTC)
    add_vessels(shelf, [Vessel("G1", "bag", start, substrate="rye", use="fruiting"), Vessel("G2", "bag", start)])
    export_farm(shelf, tmp_path / "out")
    with create_farm(tmp_path / "other") as other:
        import_vessels(other, tmp_path / "out" / "vessels.csv")
        assert {one.id: one.use for one in list_vessels(other)}["G1"] == "fruiting"
        assert list_vessels(other) == list_vessels(shelf)


def test_names_that_look_like_formulas_are_imported_unchanged(shelf: Farm, tmp_path: Path) -> None:
    """Names with beginnings listed by OWASP (CSV injection), and with such beginnings after escaping."""
    names = ("-20 C", "+1", "=SUM(A1)", "@home", "'=quoted", "'plain", "''")
    wanted = [
        Vessel(f"N{number}", "bag", datetime(2026, 3, 1, 8, tzinfo=UTC), batch=name, shelf=name.upper())
        for number, name in enumerate(names)
    ]
    add_vessels(shelf, wanted)
    export_farm(shelf, tmp_path / "out")
    count = import_vessels(shelf, tmp_path / "out" / "vessels.csv")
    assert (count.added, count.changed) == (0, 0)
    with create_farm(tmp_path / "other") as other:
        import_vessels(other, tmp_path / "out" / "vessels.csv")
        assert [one for one in list_vessels(other) if one.id[0] == "N"] == wanted


def test_a_verdict_and_its_suspect_are_exported(shelf: Farm, tmp_path: Path) -> None:
    give_verdict(shelf, review_items(shelf, list_outlooks(shelf)), "B002", "dismissed", subject="green", by="Ann")
    export_farm(shelf, tmp_path / "out")
    (verdict,) = read_csv(tmp_path / "out" / "verdicts.csv").to_pylist()
    assert (verdict["vessel"], verdict["verdict"], verdict["by"], verdict["undone"]) == (
        "B002",
        "dismissed",
        "Ann",
        "no",
    )
    areas = column(read_csv(tmp_path / "out" / "suspects.csv"), "area_cm2")
    assert sorted(map(float, areas)) == [1, 1, 4, 9]


def test_without_pyarrow_parquet_says_how_to_get_it(
    shelf: Farm, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    with pytest.raises(ExportError, match="pip install pyarrow"):
        export_farm(shelf, tmp_path / "out", parquet=True)
    assert not (tmp_path / "out").exists()
    assert len(export_farm(shelf, tmp_path / "out")) == len(TABLES) + 1


def test_a_path_that_cannot_be_written_is_reported(shelf: Farm, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(ExportError, match="cannot be written"):
        export_farm(shelf, tmp_path / "file" / "out")
