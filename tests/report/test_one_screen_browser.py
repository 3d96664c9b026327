"""The report of many vessels in a real browser: how far down today's list goes, and how many pages it prints."""

import io
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from farm.lists import SECTIONS, TodayItem
from farm.store import Farm
from report.page import gather_page, page_html
from tests.report.test_page import farm as farm
from tests.report.test_page import item
from tests.report.test_task_sheet import morning, with_fifty_to_pick

pytest.importorskip("playwright.sync_api", reason="playwright is not installed (dev extra)")
#: Of the sections of today's list: what stands below them (weeks, all vessels, batches) is no list of today.
BOTTOM = "[...document.querySelectorAll('main > ul.tasks, main > .more')].at(-1).getBoundingClientRect().bottom"
SIZES = [(390, 844), (1280, 900)]
#: A vessel of each use.
KINDS = (("plate", "amber agar"), ("jar", "rye grain"), ("bag", "sawdust"))


def written(farm: Farm, items: Sequence[TodayItem], target: Path) -> str:
    """The address of a report of these."""
    target.write_text(page_html(gather_page(farm, items, [], farm.now)), "utf-8")
    return target.as_uri()


def crowd(n: int) -> list[TodayItem]:
    """Vessels of every section and use in batches of five, with a step to do; shelves have long names."""
    found = []
    for number in range(n):
        batch = number // 5
        kind, substrate = KINDS[batch // len(SECTIONS) % len(KINDS)]
        section = SECTIONS[batch % len(SECTIONS)]
        one = item(section=section, vessel_id=f"V{number:04}", suspect=section == "look")
        vessel = replace(
            one.outlook.vessel,
            kind=kind,
            substrate=substrate,
            species="oyster",
            batch=f"BATCH-{batch:03}",
            shelf=f"UPPER ROOM {batch % 60}",
        )
        action = "" if section == "soon" else "discard it, or give it more time"
        found.append(replace(one, outlook=replace(one.outlook, vessel=vessel), action=action, marks=()))
    return found


@pytest.fixture
def address(farm: Farm, tmp_path: Path) -> str:
    return written(farm, morning(), tmp_path / "report.html")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_first_task_is_on_the_first_screen_and_the_list_on_three(
    browser: Any, farm: Farm, tmp_path: Path, width: int, height: int, scheme: str
) -> None:
    """At 252 vessels on 26 shelves, 51 of them to be picked."""
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    page = context.new_page()
    page.goto(written(farm, with_fifty_to_pick(farm), tmp_path / "report.html"))
    assert page.get_by_role("heading", name="Due to be picked (51)").is_visible()
    assert "Nothing here says that a mushroom is fit to eat" in page.locator("main > .safety").inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    first = page.locator("ul.tasks > li").first.bounding_box()
    assert first["y"] + first["height"] < height / 2
    assert page.evaluate(BOTTOM) <= 3 * height
    folded = page.locator("ul.vessels >> visible=true")
    assert folded.count() == 0
    page.locator("ul.tasks summary").first.click()
    assert "B000" in folded.first.text_content()
    context.close()


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_three_screens_are_enough_however_many_there_are_to_do(
    browser: Any, farm: Farm, tmp_path: Path, width: int, height: int
) -> None:
    """1,200 vessels: every section and every use has more tasks than there is room for."""
    context = browser.new_context(viewport={"width": width, "height": height})
    page = context.new_page()
    page.goto(written(farm, crowd(1200), tmp_path / "report.html"))
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    first = page.locator("ul.tasks > li").first.bounding_box()
    assert first["y"] + first["height"] < height
    assert page.evaluate(BOTTOM) <= 3 * height
    headings = page.locator("main > h2[id^=section]").all_inner_texts()
    assert [one for one in headings if "Ready to" in one] == [
        "Ready to transfer to grain (50)",
        "Ready to expand to more grain, or to spawn to bulk (50)",
        "Ready to fruit (50)",
    ]
    page.locator("main > .more > summary").first.click()
    assert page.locator("main > .more").first.locator("ul.tasks > li").first.is_visible()
    context.close()


def test_it_prints_today_s_list_and_of_the_vessels_those_that_are_chosen(browser: Any, address: str) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.goto(address)
    printed = pypdfium2.PdfDocument(io.BytesIO(page.pdf(format="A4")))
    assert len(printed) <= 3
    text = " ".join(" ".join(one.get_textpage().get_text_range() for one in printed).split())
    assert "wear a respirator (N-95 or FFP2 at least)" in text  # folded on the screen; paper cannot be unfolded
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
