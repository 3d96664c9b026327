"""Lists in three formats: no name can control a terminal, start a formula, or break a row."""

import json
import re
from dataclasses import dataclass

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cli.options import Format
from cli.render import Column, Group, print_groups, print_list, span_text, visible


@dataclass(frozen=True)
class Named:
    name: str


COLUMNS = (Column("name", lambda one: one["name"]), Column("note", lambda one: one.get("note", "")))
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=40)
ONE_BUFFER = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


@ONE_BUFFER
@given(TEXTS)
def test_json_reads_back_unchanged(capsys: pytest.CaptureFixture[str], name: str) -> None:
    capsys.readouterr()
    print_list([Named(name)], COLUMNS, Format.json)
    assert json.loads(capsys.readouterr().out) == [{"name": name}]


@ONE_BUFFER
@given(TEXTS)
def test_a_table_row_is_one_line_for_any_name(capsys: pytest.CaptureFixture[str], name: str) -> None:
    capsys.readouterr()
    print_list([Named(f"x{name}")], COLUMNS, Format.table)
    said = capsys.readouterr().out
    assert said.count("\n") == 2
    assert all(letter.isprintable() for letter in said.replace("\n", ""))


def test_control_characters_are_shown_as_visible_characters() -> None:
    assert visible("B1\x1b[31m\u202eevil\n") == "B1�[31m�evil�"
    assert visible("Pilz für Österreich 蘑菇") == "Pilz für Österreich 蘑菇"


def test_an_empty_column_and_an_empty_group_are_left_out(capsys: pytest.CaptureFixture[str]) -> None:
    groups = [Group("First", [Named("a")]), Group("Second", []), Group("Third", [], if_empty="none")]
    print_groups(groups, COLUMNS, Format.table)
    said = [line.rstrip() for line in capsys.readouterr().out.splitlines()]
    assert said == ["", "First", "name", "a", "", "Third", "  none"]


def test_an_empty_list_is_still_a_list(capsys: pytest.CaptureFixture[str]) -> None:
    print_list([], COLUMNS, Format.json)
    assert capsys.readouterr().out == "[]\n"


@pytest.mark.parametrize(
    ("low", "median", "high", "said"),
    [
        ("2026-03-14T10:00", "2026-03-16T10:00", "2026-04-02T10:00", "14 Mar to 2 Apr"),
        ("2026-12-30T10:00", "2027-01-02T10:00", "2027-01-09T10:00", "30 Dec 2026 to 9 Jan"),
        ("2026-03-14T10:00", "2026-03-16T10:00", None, "14 Mar to ?"),
        (None, None, None, ""),
    ],
)
def test_an_interval_in_words(low: str | None, median: str | None, high: str | None, said: str) -> None:
    assert span_text({"ready_low": low, "ready_median": median, "ready_high": high}) == said


def test_on_a_narrow_terminal_no_word_is_split_if_all_fit(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The path has no blank; the note beside it wraps instead."""
    path = "photos/rack-2/20260310_1000.jpg"
    records = [Named("B001")]
    columns = (
        Column("name", lambda one: one["name"]),
        Column("note", lambda _: "a long note that wraps between its words " * 3),
        Column("photo", lambda _: path),
    )
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "80")
    print_list(records, columns, Format.table)
    said = capsys.readouterr().out
    assert path in said
    assert max(len(re.sub("\x1b[^m]*m", "", line)) for line in said.splitlines()) <= 80


def test_a_table_too_wide_for_a_terminal_has_a_text_for_each_row(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The words of twenty columns do not fit beside each other; none of them is split."""
    columns = (
        Column("name", lambda one: one["name"]),
        *(Column(f"measurement{number}", lambda _: "12345", right=True) for number in range(20)),
        Column("caution", lambda _: "one batch only"),
    )
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "80")
    print_list([Named("B001"), Named("B002")], columns, Format.table)
    said = re.sub("\x1b[^m]*m", "", capsys.readouterr().out)
    assert max(map(len, said.splitlines())) <= 80
    assert " ".join(said.split()).startswith("B001: measurement0 12345; measurement1 12345;")
    assert said.count("measurement19 12345; caution one batch only") == 2
