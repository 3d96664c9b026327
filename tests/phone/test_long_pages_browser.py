"""Review, Vessels and Photos of many vessels on a phone's screen: rows that open; no verdict on what is not seen."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from farm.measure import measure_paths
from farm.records import add_vessels, list_verdicts, moment
from farm.records.models import Vessel
from farm.store import Farm, create_farm, to_instant
from phone import PhoneServer
from tests.farm.painted import paint, painted_vision
from tests.phone.conftest import PHONE
from tests.phone.serving import served

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (dev extra)")
HEIGHT = "document.documentElement.scrollHeight"
#: Every vessel has a green patch that grows; six stand on each shelf, the last two on none.
IDS = [f"B{number:03}" for number in range(1, 39)]


@pytest.fixture
def many(tmp_path: Path) -> Iterator[Farm]:
    with create_farm(tmp_path / "many") as farm:
        start = to_instant(moment("2026-03-01T08:00"), farm.zone)
        shelves = [f"A{1 + at // 6}" if at < 36 else "" for at in range(len(IDS))]
        add_vessels(
            farm,
            [Vessel(one, "bag", start, "oyster", "sawdust", shelf=on) for one, on in zip(IDS, shelves, strict=True)],
        )
        for day in (4, 6, 8):
            rows = [(one, 10 * day, day - 3) for one in IDS]
            paint(tmp_path / "photos" / f"202603{day:02}_1000.png", *rows)
        measure_paths(farm, [tmp_path / "photos"], vision=painted_vision())
        yield farm.at(to_instant(moment("2026-03-08T20:00"), farm.zone))


@pytest.fixture
def server(many: Farm) -> Iterator[PhoneServer]:
    with served(many) as started:
        yield started


def go(page: Any, server: PhoneServer, path: str) -> None:
    """Paired by writing the code, which needs no script."""
    page.goto(f"{server.site.address}/pair")
    page.get_by_label("Code").fill(server.keys.new_code())
    page.get_by_label("Name of this phone").fill("a phone")
    page.get_by_role("button", name="Pair").tap()
    page.wait_for_selector(".tally")
    page.goto(server.site.address + path)


def open_cards(page: Any) -> list[str]:
    texts: list[str] = page.locator(".judge > details[open] h2").all_inner_texts()
    return [text.partition(":")[0] for text in texts]


def test_the_review_is_rows_of_which_the_first_is_open(server: PhoneServer, phone_page: Callable[..., Any]) -> None:
    page = phone_page()
    go(page, server, "/review")
    assert page.evaluate(HEIGHT) <= 4 * PHONE["height"]
    assert page.locator(".judge").count() == len(IDS)
    assert open_cards(page) == ["B001"]
    more = page.locator("#more-cards > summary")
    assert " ".join(more.inner_text().split()) == "26 more 26 urgent"
    heights = page.locator(".fold > summary:visible").evaluate_all("(all) => all.map((one) => one.offsetHeight)")
    assert min(heights) >= 44  # WCAG 2.2, success criterion 2.5.5 (enhanced)
    row = page.locator(".judge", has_text="B005: green patch")
    assert "shelf A1, 5.0 cm2, grows 1.0 cm2 a day" in row.locator("summary").first.inner_text()
    more.tap()
    last = page.locator(".judge", has_text="B038: green patch")
    last.locator("summary").first.tap()
    assert last.get_by_role("button", name="It is real").is_visible()


def test_what_follows_a_verdict_is_open_and_the_others_stay_as_they_are(
    server: PhoneServer, many: Farm, phone_page: Callable[..., Any]
) -> None:
    page = phone_page()
    go(page, server, "/review")
    fifth = page.locator(".judge", has_text="B005: green patch")
    fifth.locator("summary").first.tap()
    fifth.get_by_role("button", name="It is nothing").tap()
    sync_api.expect(page.locator(".bar-inside > span")).to_have_text("B005: green patch, dismissed.")
    assert open_cards(page) == ["B001", "B006"]
    assert [one.vessel for one in list_verdicts(many)] == ["B005"]


def test_a_key_opens_a_folded_card_before_it_judges(
    server: PhoneServer, many: Farm, phone_page: Callable[..., Any]
) -> None:
    page = phone_page()
    page.set_viewport_size({"width": 1280, "height": 900})
    go(page, server, "/review")
    third = page.locator(".judge", has_text="B003: green patch")
    third.locator("summary").first.focus()
    page.keyboard.press("c")
    assert open_cards(page) == ["B001", "B003"]
    assert list_verdicts(many) == []
    page.keyboard.press("c")
    sync_api.expect(page.locator(".bar-inside > span")).to_contain_text("B003: green patch, confirmed.")
    for _ in range(24):
        page.keyboard.press("j")
    assert page.locator("#more-cards").evaluate("(one) => one.open")
    assert page.evaluate("document.activeElement.classList.contains('judge')")


def test_without_a_script_a_row_opens_and_is_judged(
    server: PhoneServer, many: Farm, phone_page: Callable[..., Any]
) -> None:
    page = phone_page(java_script_enabled=False)
    go(page, server, "/review")
    second = page.locator(".judge", has_text="B002: green patch")
    assert not second.get_by_role("button", name="It is nothing").is_visible()
    second.locator("summary").first.tap()
    second.get_by_role("button", name="It is nothing").tap()
    sync_api.expect(page.locator(".bar-inside > span")).to_have_text("B002: green patch, dismissed.")
    assert [one.vessel for one in list_verdicts(many)] == ["B002"]


def test_vessels_are_folded_shelf_by_shelf_unless_they_are_few(
    server: PhoneServer, phone_page: Callable[..., Any]
) -> None:
    page = phone_page()
    go(page, server, "/vessels")
    assert page.evaluate(HEIGHT) <= 2 * PHONE["height"]
    names = [" ".join(one.split()) for one in page.locator(".shelf > summary").all_inner_texts()]
    assert names == [*(f"A{n} 6 vessels" for n in range(1, 7)), "vessels without a shelf 2 vessels"]
    page.locator("#all-A2 > summary").tap()
    shown = page.locator("#all-A2 .who strong").all_inner_texts()
    assert shown == IDS[6:12]
    page.goto(f"{server.site.address}/vessels?id=B01")
    assert page.locator(".shelf").count() == 0
    assert sorted(page.locator(".who strong").all_inner_texts()) == [f"B01{n}" for n in range(10)]


def test_the_round_of_many_shelves_is_folded_and_stays_open_when_an_answer_comes(
    server: PhoneServer, phone_page: Callable[..., Any], tmp_path: Path
) -> None:
    page = phone_page()
    go(page, server, "/take")
    assert page.evaluate(HEIGHT) <= 2 * PHONE["height"]
    summary = page.locator("#round-A3 > summary")
    assert " ".join(summary.inner_text().split()) == "shelf A3 6 of 6 seen today"
    summary.tap()
    assert page.locator("#round-A3 .seen").count() == 6
    page.evaluate("document.querySelector('#round-A3').dataset.before = 'yes'")
    page.set_input_files("#gallery", str(paint(tmp_path / "unread.png", ("B001", 50))))
    sync_api.expect(page.locator("#round-A3[data-before]")).to_have_count(0)  # the round was put there anew
    assert page.locator("#round details[open]").evaluate_all("(all) => all.map((one) => one.id)") == ["round-A3"]
