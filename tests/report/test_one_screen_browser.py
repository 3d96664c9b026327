"""The report of two hundred vessels in a real browser: how far down today's list goes, and how many pages it prints."""

import io
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from farm.store import Farm
from report.page import gather_page, page_html
from tests.report.test_page import farm as farm
from tests.report.test_task_sheet import morning

pytest.importorskip("playwright.sync_api", reason="playwright is not installed (dev extra)")
BOTTOM = "[...document.querySelectorAll('main > ul.tasks, main > .more')].at(-1).getBoundingClientRect().bottom"


@pytest.fixture
def address(farm: Farm, tmp_path: Path) -> str:
    target = tmp_path / "report.html"
    target.write_text(page_html(gather_page(farm, morning())), "utf-8")
    return target.as_uri()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), [(390, 844), (1280, 900)])
def test_the_first_task_is_on_the_first_screen_and_the_list_on_three(
    browser: Any, address: str, width: int, height: int, scheme: str
) -> None:
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    page = context.new_page()
    page.goto(address)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    first = page.locator("ul.tasks > li").first.bounding_box()
    assert first["y"] + first["height"] < height / 2
    assert page.evaluate(BOTTOM) <= 3 * height
    folded = page.locator("ul.vessels >> visible=true")
    assert folded.count() == 0
    page.locator("ul.tasks summary").first.click()
    assert "B000" in folded.first.text_content()
    context.close()


def test_it_prints_today_s_list_and_of_the_vessels_those_that_are_chosen(browser: Any, address: str) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(address)
    assert len(pypdfium2.PdfDocument(io.BytesIO(page.pdf(format="A4")))) <= 3
    page.emulate_media(media="print")
    assert not page.locator("#everything").is_visible()
    page.emulate_media(media="screen")
    page.locator("#everything > summary").click()
    page.get_by_label("Search").fill("B003")
    page.emulate_media(media="print")
    assert page.locator("#all tbody tr:visible").count() == 1
    context.close()


def test_a_link_to_a_folded_vessel_unfolds_it(browser: Any, address: str) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"{address}#vessel-B199")
    assert page.locator("#vessel-B199").is_visible()
    context.close()
