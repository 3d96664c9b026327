"""Markup, scripts, formulas, direction marks and commands in names and notes are shown as text everywhere."""

import csv
import html.parser
import io
import json
import re
import sys
from pathlib import Path

import pytest

from cli import run
from farm.lists import day_before, list_today, today_and_changes
from farm.outlook import bring_up_to_date
from farm.records import list_vessels
from farm.store import Farm
from report import export_farm, write_calendar, write_report
from tests.report.hostile import FORMULA, OBEYED, SCRIPT, TEMPLATE, make_hostile


@pytest.fixture
def hostile(shelf: Farm) -> Farm:
    return make_hostile(shelf)


class Markup(html.parser.HTMLParser):
    """Elements of a page, by the parser of the standard library."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.attributes += attributes

    def handle_data(self, data):
        self.text.append(data)


def report_of(farm: Farm, target: Path) -> str:
    since = day_before(farm)
    items, changes = today_and_changes(farm, since)
    return write_report(farm, items, target, changes=changes, since=since).read_text("utf-8")


def test_the_report_has_the_same_markup_as_that_of_a_harmless_farm(shelf: Farm, tmp_path: Path) -> None:
    before = Markup()
    before.feed(report_of(shelf, tmp_path / "a.html"))
    page = report_of(make_hostile(shelf), tmp_path / "b.html")
    after = Markup()
    after.feed(page)
    assert set(after.tags) <= set(before.tags)
    assert after.tags.count("script") == before.tags.count("script") == 1
    assert not [name for name, _ in after.attributes if name.startswith("on")]
    assert not [mark for mark in OBEYED if mark in page]
    said = " ".join(after.text)
    assert SCRIPT in said
    assert TEMPLATE in said
    assert "1337" not in page


def test_no_cell_of_any_table_is_a_formula(hostile: Farm, tmp_path: Path) -> None:
    """With Python's csv reader; beginnings of formulas from OWASP, CSV injection."""
    for table in export_farm(hostile, tmp_path / "out"):
        for row in csv.reader(table.path.read_text("utf-8").splitlines(keepends=True)):
            assert not [cell for cell in row if re.match(r"[=@\t\r\n]|[+-](?![\d.])", cell)]
    notes = (tmp_path / "out" / "notes.csv").read_text("utf-8")
    assert "'" + FORMULA.replace('"', '""') in notes


def test_the_calendar_has_as_many_events_as_vessels(hostile: Farm, tmp_path: Path) -> None:
    """A line feed in a name must not start a new line; read by the independent library vobject."""
    vobject = pytest.importorskip("vobject")
    items = list_today(hostile, bring_up_to_date(hostile))
    write_calendar(hostile, items, tmp_path / "calendar.ics")
    text = (tmp_path / "calendar.ics").read_bytes().decode()
    read = vobject.readOne(text)
    assert len(read.vevent_list) == 3
    assert not [mark for mark in OBEYED if mark in text]
    assert not [event for event in read.vevent_list if event.summary.value == "RUN"]


@pytest.mark.parametrize(
    "words",
    [
        ("ready",), ("vessel", "list"), ("vessel", "show", "B002"), ("trace", "B002"), ("curve", "B002"),
        ("curve", "--pace"), ("review", "list", "--all"), ("compare", "--by", "species"), ("plan",), ("check",),
        ("vessel", "show", "\x1b[31m"), ("measure", "no\x1b[31m.jpg"), ("compare", "--by", "batch"),
    ],
    ids=lambda words: " ".join(words).encode("unicode_escape").decode(),
)  # fmt: skip
def test_output_for_a_terminal_has_no_control_characters(
    hostile: Farm, words: tuple[str, ...], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also if the output is a terminal, since typer strips colours from other output."""
    monkeypatch.setattr("click.utils.should_strip_ansi", lambda *_: False, raising=False)
    code = run(
        [*words, "--farm", str(hostile.folder), *(["--as-of", "2026-03-12T20:00"] if words[0] == "ready" else [])]
    )
    said = capsys.readouterr()
    assert code in (0, 2)
    assert not [mark for mark in OBEYED if mark in said.out + said.err]
    assert "Traceback" not in said.err


@pytest.mark.parametrize("words", [("vessel", "list"), ("ready",), ("review", "list", "--all"), ("trace", "B002")])
@pytest.mark.parametrize("style", ["json", "csv"])
def test_lists_for_programs_are_safe_on_a_terminal_and_lossless(
    hostile: Farm,
    words: tuple[str, ...],
    style: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """JSON escapes control characters and reads back unchanged; CSV is unchanged in a pipe and marked on a terminal."""
    command = [*words, "--format", style, "--farm", str(hostile.folder)]
    assert run(command) == 0
    piped = capsys.readouterr().out
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    assert run(command) == 0
    shown = capsys.readouterr().out
    assert not [mark for mark in OBEYED if mark in shown]
    if style == "json":
        assert shown == piped
    if words == ("vessel", "list"):
        rows = json.loads(piped) if style == "json" else list(csv.DictReader(io.StringIO(piped, newline="")))
        batch = list_vessels(hostile)[0].batch
        assert rows[0]["batch"].removeprefix("'") == batch
        assert all(mark in batch for mark in OBEYED if mark != "\x00")


def test_printed_labels_contain_no_actions(hostile: Farm, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Read by the independent library pdfium; names are not PDF keys with actions (ISO 32000-2, 12.6)."""
    pdfium = pytest.importorskip("pypdfium2")
    assert run(["labels", "--out", str(tmp_path / "labels.pdf"), "--farm", str(hostile.folder)]) == 0
    content = re.sub(rb"\bstream\b.*?\bendstream\b", b"", (tmp_path / "labels.pdf").read_bytes(), flags=re.DOTALL)
    for action in (b"/JavaScript", b"/JS", b"/Launch", b"/URI", b"/OpenAction", b"/AA", b"/EmbeddedFile"):
        assert not re.search(action + rb"\b", content)
    document = pdfium.PdfDocument(tmp_path / "labels.pdf")
    pages = [page.get_textpage() for page in document]
    text = "".join(page.get_text_range() for page in pages)
    assert "B002" in text
    assert not [mark for mark in OBEYED if mark in text]
    for page in pages:
        page.close()
    document.close()


def test_a_comparison_is_drawn_with_any_names(hostile: Farm, tmp_path: Path) -> None:
    target = tmp_path / "plot.svg"
    assert run(["compare", "--by", "substrate", "--plot", str(target), "--farm", str(hostile.folder)]) == 0
    drawn = target.read_text("utf-8")
    assert "<script" not in drawn
    assert not [mark for mark in OBEYED if mark in drawn]
