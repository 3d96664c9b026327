"""Today's list of two hundred vessels on 26 shelves, and of a thousand on 60, on a phone's screen with touch."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from farm.records import add_vessels, list_vessels
from farm.records.models import Vessel
from farm.store import Farm, create_farm
from phone import PhoneServer
from phone.farm_state import FarmState
from tests.farm.by_hand import SeenOutlook, review_seen
from tests.farm.test_today import NOW, START, mark, outlook, reading
from tests.phone.conftest import PHONE
from tests.phone.serving import served

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (dev extra)")
SHELVES = [f"S{number:02}" for number in range(1, 27)]
#: The last of them have nothing to do.
IDLE = SHELVES[-2:]
#: On each shelf: so many jars that are ready, that want a photo, and that grow on. One of every fourth is a suspect.
READY, DUE, GROWING = 4, 2, 2
HEIGHT = "document.documentElement.scrollHeight"


def state_of(vessel: Vessel) -> SeenOutlook:
    """As its id says."""
    seen = {
        "R": outlook("ready", 12.9, reading(13.5, 99)),
        "D": outlook("ready", 12.0, reading(6, 40)),
        "G": outlook("colonising", 40.0, reading(13.5, 20)),
        "M": outlook("colonising", 30.0, reading(13.5, 40, mark(3.0))),
    }[vessel.id[0]]
    return replace(seen, vessel=vessel)


def vessels_of(number: int, shelf: str, n_ready: int = READY) -> Iterator[Vessel]:
    signs = "G" * (READY + DUE + GROWING) if shelf in IDLE else "R" * n_ready + "D" * DUE + "G" * GROWING
    for place, sign in enumerate(signs):
        is_suspect = number % 4 == 0 and place == len(signs) - 1 and shelf not in IDLE
        yield Vessel(
            f"{'M' if is_suspect else sign}{number:02}{place}", "jar", START, "oyster", "rye grain", shelf=shelf
        )


@pytest.fixture
def by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """The records are real; how each vessel stands is written by hand."""
    monkeypatch.setattr(FarmState, "_with_vessels", lambda self: [state_of(one) for one in list_vessels(self.farm)])
    monkeypatch.setattr(FarmState, "_review", lambda self, outlooks, everything=False: review_seen(self.farm, outlooks))


@pytest.fixture
def many(tmp_path: Path, by_hand: None) -> Iterator[Farm]:
    with create_farm(tmp_path / "many") as farm:
        add_vessels(farm, [one for at, shelf in enumerate(SHELVES) for one in vessels_of(at, shelf)])
        yield farm.at(NOW + timedelta(hours=1))


@pytest.fixture
def thousand(tmp_path: Path, by_hand: None) -> Iterator[Farm]:
    """On 60 shelves, 58 with something to do, 14 of them with a suspect."""
    with create_farm(tmp_path / "thousand") as farm:
        shelves = [f"S{number:02}" for number in range(1, 61)]
        add_vessels(farm, [one for at, shelf in enumerate(shelves) for one in vessels_of(at, shelf, 14)])
        yield farm.at(NOW + timedelta(hours=1))


@pytest.fixture
def server(many: Farm) -> Iterator[PhoneServer]:
    with served(many) as started:
        yield started


def open_today(page: Any, server: PhoneServer) -> None:
    """Paired by writing the code, which needs no script."""
    page.goto(f"{server.site.address}/pair")
    page.get_by_label("Code").fill(server.keys.new_code())
    page.get_by_label("Name of this phone").fill("a phone")
    page.get_by_role("button", name="Pair").tap()
    page.wait_for_selector(".tally")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_first_action_is_on_the_first_screen_and_the_list_on_three(
    server: PhoneServer, many: Farm, phone_page: Callable[..., Any], scheme: str
) -> None:
    page = phone_page(color_scheme=scheme)
    open_today(page, server)
    assert len(list_vessels(many)) >= 200
    assert page.evaluate(HEIGHT) <= 3 * PHONE["height"]
    for action in (page.locator("main .main").first, page.locator("details.shelf .main").first):
        box = action.bounding_box()
        assert box["y"] + box["height"] < page.locator(".board").bounding_box()["y"]
    assert page.locator("details.shelf").count() == len(SHELVES) - len(IDLE) + 1
    assert page.locator("details.shelf[open]").count() == 1
    heights = page.locator("summary.edge").evaluate_all("(all) => all.map((one) => one.offsetHeight)")
    assert min(heights) >= 44  # WCAG 2.5.5, level AAA
    assert max(heights) < 56  # one line of text
    assert " ".join(page.locator("#on-S02 > summary").inner_text().split()) == "S02 4 ready, 2 to photograph"
    assert "S01: M007" in page.locator(".first").inner_text()
    assert page.locator("#idle > summary").inner_text() == "2 shelves with nothing to do"


@pytest.mark.parametrize("width", [390, 1280])
def test_a_thousand_vessels_on_sixty_shelves_fit_on_three_screens(
    thousand: Farm, serve: Callable[..., PhoneServer], phone_page: Callable[..., Any], width: int
) -> None:
    """Most shelves are one row, which says what is to be done on them; they come up as others are done."""
    assert len(list_vessels(thousand)) >= 1000
    server = serve(thousand)
    page = phone_page()
    page.set_viewport_size({"width": width, "height": PHONE["height"]})
    open_today(page, server)
    assert page.evaluate(HEIGHT) <= 3 * PHONE["height"]
    first = page.locator("details.shelf .main").first.bounding_box()
    assert first["y"] + first["height"] < page.locator(".board").bounding_box()["y"]
    more = page.locator("#more-shelves")
    text = " ".join(more.locator("> summary").inner_text().split())
    assert text == "34 more shelves 8 to look at, 476 ready, 68 to photograph"
    assert "; 6 more on other shelves" in page.locator(".first").inner_text()
    more.locator("> summary").tap()
    page.locator("#on-S60 > summary").tap()
    page.locator("#on-S60").get_by_role("button", name="All 14: Used as spawn").tap()
    sync_api.expect(page.locator(".bar-inside > span")).to_contain_text("used as spawn.")
    assert page.locator("#on-S60").get_by_text("want a photo").is_visible()


def test_what_was_open_stays_open_after_a_tick_and_the_bar_covers_nothing_that_follows(
    server: PhoneServer, phone_page: Callable[..., Any]
) -> None:
    page = phone_page()
    open_today(page, server)
    page.locator("#on-S01 > summary").tap()
    page.locator("#on-S06 > summary").tap()
    page.locator("#on-S06 .group summary").first.tap()
    button = page.locator("#row-R050").get_by_role("button", name="Used as spawn")
    # The button at the lower edge of what is seen: there the bar comes up.
    edge = page.locator(".board").bounding_box()["y"] - 6
    page.evaluate("(by) => window.scrollBy({ top: by, behavior: 'instant' })", _bottom(button) - edge)
    box = button.bounding_box()
    page.touchscreen.tap(box["x"] + 20, box["y"] + 20)  # unlike tap() of the button, this does not scroll before
    page.wait_for_selector(".bar-inside")
    sync_api.expect(page.locator("#row-R050")).to_have_count(0)
    assert page.locator("details.shelf[open]").evaluate_all("(all) => all.map((one) => one.id)") == ["on-S06"]
    follows = page.locator("#row-R051").get_by_role("button", name="Used as spawn")
    assert follows.is_visible()
    bar, board = page.locator(".bar-inside").bounding_box(), page.locator(".board").bounding_box()
    assert _bottom(follows) <= bar["y"]
    # The content ends at the bar, which stands on the board: beside and below it nothing is half seen.
    assert (bar["x"], bar["width"]) == (0, PHONE["width"])
    assert bar["y"] + bar["height"] >= board["y"]
    page.evaluate("window.scrollTo({ top: document.documentElement.scrollHeight, behavior: 'instant' })")
    assert _bottom(page.locator("main")) <= page.locator(".bar-inside").bounding_box()["y"]


def test_without_a_script_shelves_open_ticks_are_kept_and_so_is_what_is_open(
    server: PhoneServer, many: Farm, phone_page: Callable[..., Any]
) -> None:
    page = phone_page(java_script_enabled=False)
    open_today(page, server)
    assert not page.locator("#row-R050").is_visible()
    page.locator("#on-S06 > summary").tap()
    page.locator("#on-S06").get_by_role("button", name="All 4: Used as spawn").tap()
    sync_api.expect(page.locator(".bar-inside > span")).to_contain_text("R050..R053: used as spawn.")
    closed = [one.id for one in list_vessels(many) if one.state == "closed"]
    assert closed == ["R050", "R051", "R052", "R053"]
    assert page.locator("#on-S06").get_by_text("want a photo").is_visible()
    page.locator(".bar-inside").get_by_role("button", name="Take it back").tap()
    sync_api.expect(page.locator(".bar-inside > span")).to_contain_text("taken back")
    page.locator("#on-S06 .group summary").first.tap()
    page.locator("#row-R052").get_by_role("button", name="Used as spawn").tap()
    sync_api.expect(page.locator(".bar-inside > span")).to_contain_text("R052: used as spawn.")
    assert page.locator("#row-R053").is_visible()
    sync_api.expect(page.locator("#on-S06 > summary")).to_be_in_viewport()
    page.locator(".bar-inside").get_by_role("button").last.tap()
    sync_api.expect(page.locator(".bar-inside")).to_have_count(0)
    assert page.locator("#row-R053").is_visible()


def _bottom(part: Any) -> float:
    box = part.bounding_box()
    return float(box["y"] + box["height"])
