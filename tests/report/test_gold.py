"""The report compared with its accepted copy in tests/report/gold/ (see README.md there)."""

import difflib
import os
import re
from pathlib import Path

import pytest

from farm.lists import day_before, today_and_changes
from farm.store import Farm
from report import write_report

GOLD = Path(__file__).parent / "gold"
ACCEPT = "SPAWNRUN_ACCEPT_GOLD"

#: Patterns that may differ between runs or versions, and their replacements.
SCRUBBED = (
    (r"data:image/jpeg;base64,[A-Za-z0-9+/=]+", "PICTURE"),
    (r"\b[0-9a-f]{64}\b", "PHOTO-HASH"),
    (r"sha256-[A-Za-z0-9+/]{43}=", "SCRIPT-HASH"),
    (r"spawnrun \d+\.\d+\.\d+\S*(?=<| )", "spawnrun VERSION"),
    # Coordinates of curves: fits differ between machines in the last digits.
    (r'(data-order)="\d{4}-\d\d-\d\dT[^"]+"', r'\1="MOMENT"'),
    (r'\b(points|d|x|y|x1|x2|y1|y2|cx|cy|width)="[-\d., MLZz]+"', r'\1="NUMBERS"'),
)


def scrubbed(page: str) -> str:
    for pattern, mark in SCRUBBED:
        page = re.sub(pattern, mark, page)
    return page


def check(name: str, page: str) -> None:
    """Compare a page with the accepted one; a page that differs is stored next to it."""
    accepted, fresh = GOLD / f"{name}.html", GOLD / f"{name}.new.html"
    found = scrubbed(page)
    if os.environ.get(ACCEPT) == "1":
        accepted.write_text(found, "utf-8")
    before = accepted.read_text("utf-8") if accepted.is_file() else ""
    if found == before:
        fresh.unlink(missing_ok=True)
        return
    fresh.write_text(found, "utf-8")
    changed = difflib.unified_diff(before.splitlines(), found.splitlines(), accepted.name, fresh.name, lineterm="", n=1)
    lines = "\n".join(line[:200] for line in list(changed)[:40])
    pytest.fail(f"{name} differs from {accepted}; look at {fresh}, and accept it with {ACCEPT}=1\n{lines}")


def test_the_report_equals_the_accepted_one(shelf: Farm, tmp_path: Path) -> None:
    since = day_before(shelf)
    items, changes = today_and_changes(shelf, since)
    page = write_report(shelf, items, tmp_path / "report.html", changes=changes, since=since)
    check("report", page.read_text("utf-8"))


def test_a_page_that_differs_is_stored_and_the_message_says_how_to_accept_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tests.report.test_gold.GOLD", tmp_path)
    monkeypatch.delenv(ACCEPT, raising=False)
    (tmp_path / "page.html").write_text("<p>one</p>\n", "utf-8")
    with pytest.raises(pytest.fail.Exception, match=rf"page\.new\.html, and accept it with {ACCEPT}=1"):
        check("page", "<p>two</p>\n")
    assert (tmp_path / "page.new.html").read_text("utf-8") == "<p>two</p>\n"
    monkeypatch.setenv(ACCEPT, "1")
    check("page", "<p>two</p>\n")
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
    assert (tmp_path / "page.html").read_text("utf-8") == "<p>two</p>\n"


def test_parts_that_change_with_every_run_are_scrubbed() -> None:
    page = f'<img src="data:image/jpeg;base64,/9j/4AA=="><a href="/spot/{"a1" * 32}-0/1.jpg"> spawnrun 0.1.0</a>'
    assert scrubbed(page) == '<img src="PICTURE"><a href="/spot/PHOTO-HASH-0/1.jpg"> spawnrun VERSION</a>'
