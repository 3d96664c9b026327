"""Imported tables: each error is reported with line and column; the result is rows or an InputFileError."""

from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from farm.records import VesselRow, import_vessels, list_vessels, read_table
from farm.store import Farm
from farm.store.errors import InputFileError


def table(tmp_path: Path, text: str) -> Path:
    source = tmp_path / "vessels.csv"
    source.write_bytes(text.encode("utf-8"))
    return source


def test_a_row_becomes_a_checked_record(tmp_path: Path) -> None:
    source = table(tmp_path, "\ufeffid, kind ,inoculated,diameter_mm,mood\n b-1 ,Jar,2026-03-01,85,good\n")
    (line,) = read_table(source, VesselRow)
    assert (line.number, line.row.vessel, line.row.kind, line.row.diameter_mm) == (2, "B-1", "jar", 85.0)
    assert line.row.inoculated == datetime(2026, 3, 1)
    assert line.extra == {"mood": "good"}


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_separators_of_spreadsheets_are_accepted(tmp_path: Path, separator: str) -> None:
    rows = ("id", "kind", "inoculated"), ("B1", "bag", "2026-03-01")
    source = table(tmp_path, "\n".join(separator.join(row) for row in rows))
    assert read_table(source, VesselRow)[0].row.vessel == "B1"


@pytest.mark.parametrize("name", ["vessel", "id"])
def test_the_vessel_column_has_two_names_and_errors_use_the_one_in_the_table(tmp_path: Path, name: str) -> None:
    (line,) = read_table(table(tmp_path, f"{name},kind,inoculated_at\nb1,jar,2026-03-01\n"), VesselRow)
    assert (line.row.vessel, line.row.inoculated, line.extra) == ("B1", datetime(2026, 3, 1), {})
    with pytest.raises(InputFileError, match=f"line 2, column {name}: 'B 1': an id is"):
        read_table(table(tmp_path, f"{name},kind,inoculated_at\nB 1,jar,2026-03-01\n"), VesselRow)


def test_decimal_commas_are_read_and_possible_thousands_are_refused(tmp_path: Path) -> None:
    header = "id;kind;inoculated;diameter_mm\n"
    assert read_table(table(tmp_path, f"{header}B1;jar;2026-03-01;85,5\n"), VesselRow)[0].row.diameter_mm == 85.5
    with pytest.raises(InputFileError, match="diameter_mm: '1,234': not a number"):
        read_table(table(tmp_path, f"{header}B1;jar;2026-03-01;1,234\n"), VesselRow)


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ("B 1,bag,2026-03-01,", "line 2, column id: 'B 1': an id is 1 to 16 of 0-9 A-Z - . / :"),
        ("B1/BACK,bag,2026-03-01,", "line 2, column id: 'B1/BACK': /BACK marks the label of a vessel's back"),
        ("B1,sack,2026-03-01,", "line 2, column kind: 'sack': must be 'plate', 'jar', 'bag'"),
        ("B1,bag,yesterday,", "line 2, column inoculated: 'yesterday': not a date or time, such as"),
        ("B1,bag,2026-02-30,", "line 2, column inoculated: '2026-02-30'"),
        ("B1,bag,0001-01-01,", "line 2, column inoculated: '0001-01-01': the year 1 is not between 1900 and 2999"),
        ("B1,bag,9999-12-31T23:59,", "line 2, column inoculated: '9999-12-31T23:59': the year 9999 is not between"),
        ("B1,bag,,", "line 2, column inoculated: must be filled in"),
        ("B1,bag,2026-03-01,-4", "line 2, column diameter_mm: '-4': must be more than 0"),
        ("B1,bag,2026-03-01,12 kg", "line 2, column diameter_mm: '12 kg': the unit is one of mm, cm, in"),
        ("B1,bag,2026-03-01,wide", "line 2, column diameter_mm: 'wide': not a number"),
        ("B1,bag,2026-03-01,nan", "line 2, column diameter_mm: 'nan'"),
        ("B1,bag,2026-03-01,8,9", "line 2: more cells than columns in the header"),
    ],
)
def test_a_bad_cell_is_reported_with_line_and_column(tmp_path: Path, row: str, fault: str) -> None:
    with pytest.raises(InputFileError) as caught:
        read_table(table(tmp_path, f"id,kind,inoculated,diameter_mm\n{row}\n"), VesselRow)
    assert fault in str(caught.value)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "the file is empty"),
        ("\n\n", "line 1: no names of columns"),
        ("id,kind,inoculated\n", "the table is empty: it has no rows below its header"),
        ("id,kind\nB1,bag\n", "line 1: no column inoculated"),
        ("id,kind,inocculated\n", "no column inoculated; column inocculated is not known: did you mean inoculated"),
        ("id,id,kind,inoculated\n", "line 1: column id stands there twice"),
    ],
)
def test_invalid_headers_are_refused(tmp_path: Path, text: str, fault: str) -> None:
    with pytest.raises(InputFileError, match=fault):
        read_table(table(tmp_path, text), VesselRow)


def test_a_missing_file_is_reported(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="No such file"):
        read_table(tmp_path / "none.csv", VesselRow)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.binary(max_size=300) | st.text(max_size=200).map(lambda text: f"id,kind,inoculated\n{text}".encode()))
def test_any_file_gives_rows_or_an_input_error(tmp_path: Path, content: bytes) -> None:
    source = tmp_path / "any.csv"
    source.write_bytes(content)
    try:
        lines = read_table(source, VesselRow)
    except InputFileError:
        return
    assert all(isinstance(line.row, VesselRow) for line in lines)


def test_one_bad_row_refuses_the_whole_table(farm: Farm, tmp_path: Path) -> None:
    source = table(tmp_path, "id,kind,inoculated\nB1,bag,2026-03-01\nB2,bag,2026-13-01\nB3,bog,2026-03-01\n")
    with pytest.raises(InputFileError) as caught:
        import_vessels(farm, source)
    assert list_vessels(farm) == []
    assert len(caught.value.problems) == 2


def test_headers_are_case_insensitive_and_unknown_columns_keep_their_case(tmp_path: Path) -> None:
    (line,) = read_table(table(tmp_path, "ID,Kind,Inoculated,Mood\nB1,bag,2026-03-01,Good\n"), VesselRow)
    assert line.row.vessel == "B1"
    assert line.extra == {"Mood": "Good"}


def test_another_encoding_is_reported_with_advice(tmp_path: Path) -> None:
    source = tmp_path / "vessels.csv"
    source.write_bytes("id,kind,inoculated,species\nB1,bag,2026-03-01,Königsausternpilz\n".encode("cp1252"))
    with pytest.raises(InputFileError, match="CSV UTF-8"):
        read_table(source, VesselRow)
