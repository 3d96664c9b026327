"""CSV files read by independent readers: Python's csv module, and pyarrow."""

import csv
import io
from dataclasses import dataclass

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cli.options import Format
from cli.render import Column, print_list
from farm.records import FORMULA_STARTS
from report import csv_text
from tests.outside.conftest import Tell

COLUMNS = (Column("name", lambda one: one["name"]), Column("note", lambda one: one.get("note", "")))


@dataclass(frozen=True)
class Named:
    name: str


TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=40)
ONE_BUFFER = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


@ONE_BUFFER
@given(st.lists(TEXTS, min_size=1, max_size=5))
def test_csv_is_read_back_by_an_independent_reader(capsys: pytest.CaptureFixture[str], names: list[str]) -> None:
    """RFC 4180 as read by Python's csv module; a text that looks like a formula gets an apostrophe in front."""
    capsys.readouterr()
    print_list([Named(name) for name in names], COLUMNS, Format.csv)
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out, newline="")))
    assert not any(row["name"].startswith(("=", "+", "-", "@")) for row in rows)
    for row, name in zip(rows, names, strict=True):
        assert row["name"] in (name, f"'{name}")
        assert (row["name"] != name) == name.lstrip("'").startswith(FORMULA_STARTS)


def test_rfc_4180_quoting() -> None:
    """Rules 5 to 7 of section 2: commas, quotes and line breaks inside quotes; a quote is doubled."""
    assert csv_text(["a", "b"], [{"a": 'x "y"', "b": "1,2\r\n3"}]) == 'a,b\r\n"x ""y""","1,2\r\n3"\r\n'


def test_texts_of_every_kind_are_read_back_by_pyarrow(tell: Tell) -> None:
    """Written by this program, read by pyarrow, which is written in C++ and shares no code with Python's csv module."""
    arrow = pytest.importorskip("pyarrow.csv")
    texts = ["plain", 'a "quoted", word', "two\r\nlines", "\N{SNOWMAN} é שלום", "semi;colon\ttab", " space ", "0012"]
    content = csv_text(["text"], [{"text": text} for text in texts]).encode()
    parse = arrow.ParseOptions(newlines_in_values=True)
    convert = arrow.ConvertOptions(column_types={"text": "string"}, strings_can_be_null=False)
    read = arrow.read_csv(io.BytesIO(content), parse_options=parse, convert_options=convert).column("text").to_pylist()
    assert read == texts
    tell("7 awkward texts through CSV", "pyarrow's reader; RFC 4180", "7", str(len(read)))
