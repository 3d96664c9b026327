"""Hostile strings in a real browser: no script in a name or note runs, in the report and on the phone's pages."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from farm.store import Farm
from tests.phone.serving import served
from tests.report.hostile import IMAGE, SCRIPT, make_hostile
from tests.report.test_hostile_text import report_of


@pytest.fixture
def review_address(shelf: Farm) -> Iterator[str]:
    with served(make_hostile(shelf)) as server:
        yield f"{server.site.address}/pair#{server.keys.new_code(desk=True)}/review"


@pytest.fixture
def report_address(shelf: Farm, tmp_path: Path) -> str:
    report_of(make_hostile(shelf), tmp_path / "report.html")
    return (tmp_path / "report.html").as_uri()


@pytest.mark.parametrize("which", ["report_address", "review_address"])
def test_no_script_in_a_text_runs(browser: Any, which: str, request: pytest.FixtureRequest) -> None:
    context = browser.new_context()
    page = context.new_page()
    asked: list[str] = []
    talked: list[str] = []
    page.on("request", lambda one: asked.append(one.url))

    def dismiss(dialog: Any) -> None:
        talked.append(dialog.message)
        dialog.dismiss()

    page.on("dialog", dismiss)
    address = request.getfixturevalue(which)
    page.goto(address)
    if which == "review_address":
        page.wait_for_selector(".judge")
        page.wait_for_load_state("networkidle")
        for link in ("More", "Photos", "Vessels", "Today", "Review"):
            page.get_by_role("link", name=link, exact=True).click()
            page.wait_for_load_state("networkidle")
        page.wait_for_selector(".judge")
    page.wait_for_load_state("networkidle")
    assert page.title() != "RUN"
    assert talked == []
    home = address.split("/pair", 1)[0] if which == "review_address" else address.rsplit("/", 1)[0]
    assert [url for url in asked if not url.startswith((home, "data:"))] == []
    assert page.evaluate("document.querySelectorAll('[onerror], [onload], img[src=x]').length") == 0
    shown = page.locator("body").inner_text()
    assert SCRIPT in shown or SCRIPT in page.content().replace("&lt;", "<").replace("&gt;", ">")
    context.close()


def test_the_content_policy_stops_unescaped_scripts(browser: Any, report_address: str, tmp_path: Path) -> None:
    """A script inserted into the page by hand is stopped by the page's content security policy."""
    source = tmp_path / "report.html"
    broken = tmp_path / "broken.html"
    broken.write_text(source.read_text("utf-8").replace("</body>", f"{SCRIPT}{IMAGE}</body>"), "utf-8")
    context = browser.new_context()
    page = context.new_page()
    page.goto(broken.as_uri())
    page.wait_for_load_state("networkidle")
    assert page.locator("script").count() == 2
    assert page.title() != "RUN"
    context.close()
