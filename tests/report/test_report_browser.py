"""The report in a real browser: it sorts and filters, fits a phone, works by keyboard, and fetches nothing."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from farm.lists import day_before, today_and_changes
from farm.store import Farm
from report import write_report

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (dev extra)")


@pytest.fixture
def address(shelf: Farm, tmp_path: Path) -> str:
    since = day_before(shelf)
    items, changes = today_and_changes(shelf, since)
    return write_report(shelf, items, tmp_path / "report.html", changes=changes, since=since).as_uri()


@pytest.fixture(params=[400, 1280])
def page(browser: Any, address: str, request: pytest.FixtureRequest) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": request.param, "height": 900}, offline=True)
    opened = context.new_page()
    complaints: list[str] = []
    opened.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on("request", lambda one: complaints.append(one.url) if one.url[:5] not in ("file:", "data:") else None)
    opened.goto(address)
    yield opened
    assert complaints == []
    context.close()


def shown(page: Any) -> list[str]:
    return list(page.locator("#all tbody tr:visible th").all_text_contents())


def test_the_report_fits_the_width(page: Any) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.locator(".changes").bounding_box()["y"] < page.locator("#section-ready").bounding_box()["y"]


def test_headings_sort_both_ways_also_by_keyboard(page: Any) -> None:
    button = page.get_by_role("button", name="colonised")
    button.click()
    rising = shown(page)
    assert page.locator("th[aria-sort]").get_attribute("aria-sort") == "ascending"
    button.focus()
    page.keyboard.press("Enter")
    assert shown(page) == rising[::-1]
    assert page.locator("th[aria-sort]").get_attribute("aria-sort") == "descending"
    percents = [float(text.split(" %")[0]) for text in page.locator("#all tbody td.number").all_text_contents()]
    assert percents == sorted(percents, reverse=True)


def test_filters_apply_to_table_and_cards(page: Any) -> None:
    page.get_by_label("Search").fill("b002")
    assert shown(page) == ["B002"]
    assert page.locator("article:visible").count() == 1
    assert page.get_by_role("status").text_content() == "1 of 3 vessels shown"
    page.get_by_role("button", name="Show all").click()
    sync_api.expect(page.locator("article:not([hidden])")).to_have_count(3)
    page.get_by_label("Today").select_option("Look at these first")
    looked = shown(page)
    assert "B002" in looked
    assert len(looked) < 3
    page.get_by_label("Search").fill("no such vessel")
    assert shown(page) == []
    assert page.locator("section.batch:visible").count() == 0


def test_a_link_to_a_hidden_vessel_shows_it(page: Any) -> None:
    page.get_by_label("Search").fill("B002")
    page.locator("nav").scroll_into_view_if_needed()
    page.evaluate("location.hash = document.querySelector('article[hidden]').id")
    sync_api.expect(page.locator("article:not([hidden])")).to_have_count(3)


def test_the_first_tab_stop_skips_the_lists(page: Any) -> None:
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the table of all vessels"


def test_without_its_script_the_report_is_complete(browser: Any, address: str) -> None:
    context = browser.new_context(java_script_enabled=False)
    opened = context.new_page()
    opened.goto(address)
    assert opened.locator("article").count() == 3
    assert not opened.locator("#controls").is_visible()
    assert not opened.locator("thead button").first.is_visible()
    context.close()


def test_it_prints_without_controls(page: Any) -> None:
    page.emulate_media(media="print")
    assert not page.locator("#controls").is_visible()
    assert page.locator("article").first.is_visible()
