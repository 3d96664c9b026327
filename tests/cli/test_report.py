"""`spawnrun report`: every figure on the page equals that of the JSON output and of the list."""

import json
import re
from datetime import datetime
from html.parser import HTMLParser
from pathlib import Path

from farm.store import day_words
from tests.cli.conftest import Spawnrun


class Cells(HTMLParser):
    """Texts of the page: the table of all vessels by row, and the whole page."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.text = ""
        self.table: str | None = None
        self.inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "table":
            self.table = dict(attrs).get("id")
        self.inside = self.inside or (tag == "tbody" and self.table == "all")
        if self.inside and tag == "tr":
            self.rows.append([])
        if self.inside and tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        self.inside = self.inside and tag != "tbody"

    def handle_data(self, data: str) -> None:
        self.text += data
        if self.inside and self.rows and self.rows[-1] and data.strip():
            self.rows[-1][-1] += data


def test_every_figure_agrees_with_the_json_and_the_list(spawnrun: Spawnrun, week: Path) -> None:
    said = spawnrun("report", "--farm", "home", "--json", "--since", "2026-03-09")
    assert said.code == 0
    facts = json.loads(said.out)
    assert facts["vessels"] == json.loads(spawnrun("ready", "--farm", "home", "--format", "json").out)
    page = Cells()
    page.feed((week / "report.html").read_text("utf-8"))
    assert len(page.rows) == len(facts["vessels"])
    for row, one in zip(page.rows, facts["vessels"], strict=True):
        assert row[0] == one["vessel"]
        percent = f"{one['percent']:.0f} % ({one['percent_low']:.0f} to {one['percent_high']:.0f} %)"
        assert " ".join(row[1].split()) == percent
        day = "" if one["ready_median"] is None else day_words(datetime.fromisoformat(one["ready_median"]))
        assert row[2].startswith(day)
        assert row[8].strip() == "".join(one["marks"])
    text = " ".join(page.text.split())
    for batch in facts["batches"]:
        assert f"{batch['running']} of {batch['vessels']} running" in text
        assert f"half of them {batch['percent_middle']:.0f} % or more" in text
    changed = text[text.index("Changed since Mon 9 Mar 2026") :]
    for change in facts["changes"]:
        assert re.search(rf"{change['vessel']} [^;]*.*{change['percent']:.0f} %", changed)
        assert all(why in changed for why in change["to_look_at"])
    assert {one["vessel"] for one in facts["changes"]} == {"B001", "B002", "J001"}
