"""A day at the shelf in a real browser with a phone's screen and touch, against a real server: every step in order.

The photos are the demo's (invented and rendered, so the truth is known).
"""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageFilter

from farm.fruiting import list_harvests
from farm.lists import list_today
from farm.outlook import bring_up_to_date
from farm.records import get_vessel, list_events, list_readings, list_verdicts, list_vessels
from farm.store import Farm
from phone import PhoneServer, ServeOptions
from tests.phone.conftest import KEPT_BACK, PATIENCE_MS

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (dev extra)")
#: A slow connection: what is sent each second, bytes. About that of a telephone at the edge of its network.
SLOW_BYTES = 400_000


def twelve_photos(home: Path) -> list[Path]:
    """The demo's photos that the farm lacks, as a phone would send them: one blurred, one HEIC, nine of plates."""
    there = [home / Path(name).name for name in KEPT_BACK]
    bags, jars, plates = (Image.open(one) for one in there)
    made = [home / "blurred.jpg", home / "jars.heic"]
    bags.filter(ImageFilter.GaussianBlur(14)).save(made[0], quality=88)
    pillow_heif.from_pillow(jars.convert("RGB")).save(made[1], quality=85)
    sent = [there[0], *made, there[2]]
    for number in range(8):  # the same shelf again, a step aside: other files, so other photos
        again = home / f"again{number}.jpg"
        shifted = np.roll(np.asarray(plates), 2 * number + 2, axis=1)
        Image.fromarray(shifted).save(again, quality=90, exif=plates.getexif())
        sent.append(again)
    assert len(sent) == 12
    return sent


def hash_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def pair(page: Any, server: Any, name: str) -> None:
    """As by the QR code: the address has the code behind its #."""
    page.goto(f"{server.site.address}/pair#{server.keys.new_code()}")
    page.get_by_label("Name of this phone").fill(name)
    page.get_by_role("button", name="Pair").tap()
    page.wait_for_selector(".tally", timeout=PATIENCE_MS)


def wait_for_answers(page: Any, number: int) -> None:
    sync_api.expect(page.locator("#queue > li[data-state=done]")).to_have_count(number, timeout=PATIENCE_MS)


def is_told(page: Any, text: str) -> None:
    """The bar says this, from the change that was just made."""
    sync_api.expect(page.locator(".bar-inside > span")).to_contain_text(text)


@pytest.mark.slow
def test_a_day_at_the_shelf(
    demo: Farm, serve: Callable[..., PhoneServer], phone_page: Callable[..., Any], tmp_path: Path
) -> None:
    photos = twelve_photos(demo.folder.parent)
    server = serve(demo, ServeOptions(port=0, workers=2))
    page = phone_page(may_complain=True)  # a connection that breaks is complained of
    pair(page, server, "Ann's phone")
    assert [one.name for one in server.keys.phones()] == ["Ann's phone"]

    send_over_a_bad_connection(page, photos)
    answers_are_right(page, photos)
    assert {one.photo_hash for one in list_readings(demo)} >= {hash_of(one) for one in photos}
    assert len(list((demo.folder / "photos" / "_from_phones").glob("*/*"))) == 12

    tick_and_undo(page, demo)
    review_and_undo(page, demo)
    move_to_fruit_and_harvest(page, demo)
    the_next_list_agrees(page, demo)


def send_over_a_bad_connection(page: Any, photos: list[Path]) -> None:
    """Slow, then gone in the middle of a photo, then with the page closed: all twelve arrive, each once."""
    wire = page.context.new_cdp_session(page)
    wire.send("Network.enable")
    page.get_by_role("link", name="Photos").tap()
    page.wait_for_selector("#camera", state="attached")
    slow = {"offline": False, "latency": 200, "downloadThroughput": SLOW_BYTES, "uploadThroughput": SLOW_BYTES}
    wire.send("Network.emulateNetworkConditions", slow)
    page.set_input_files("#gallery", [str(one) for one in photos])
    sync_api.expect(page.locator("#queue > li")).to_have_count(12, timeout=PATIENCE_MS)
    sync_api.expect(page.locator("#queue > li[data-state=sending] progress")).to_be_visible(timeout=PATIENCE_MS)
    wire.send("Network.emulateNetworkConditions", slow | {"offline": True})
    sync_api.expect(page.locator("#line")).to_contain_text("No connection")
    sync_api.expect(page.locator("#queue > li[data-state=sending]")).to_have_count(0)
    wire.send("Network.emulateNetworkConditions", slow | {"uploadThroughput": -1, "downloadThroughput": -1})
    sync_api.expect(page.locator("#queue > li[data-state=sent]").first).to_be_visible(timeout=PATIENCE_MS)
    page.goto("about:blank")  # the page is closed in the middle
    page.go_back()
    wait_for_answers(page, 12)
    assert page.locator("#waiting").is_hidden()


def answers_are_right(page: Any, photos: list[Path]) -> None:
    """Read, blurred, HEIC: each photo says what was read in it, or what to do."""
    lines = {path.name: page.locator(f"#photo-{hash_of(path)} .answer").inner_text() for path in photos}
    bags = lines["20260316_1200.jpg"]
    assert "B004: new: green patch" in bags or "B004: still there: green patch" in bags
    assert all(f"B00{number}:" in bags for number in range(1, 7))
    assert "Take again" in lines["blurred.jpg"]
    assert "blurred" in lines["blurred.jpg"]
    assert "J001:" in lines["jars.heic"]
    assert "J002:" in lines["jars.heic"]
    assert "P001:" in lines["20260309_1400.jpg"]
    missed = page.locator(".missed").inner_text()
    assert "Nobody has seen shelf A2 today: 2 vessels." in missed  # the newest photo of the jars is of two days before
    assert "A1" not in missed


def tick_and_undo(page: Any, farm: Farm) -> None:
    page.get_by_role("link", name="Today").tap()
    sync_api.expect(page.locator("main h1")).to_have_text("Today")
    row = page.locator("#row-J001")
    sync_api.expect(row).to_have_count(1)
    if not row.is_visible():  # its shelf is folded where there is much to do
        page.locator("#on-A2 > summary").tap()
    row.get_by_role("button", name="Used as spawn").tap()
    is_told(page, "J001: used as spawn.")
    assert get_vessel(farm, "J001").state == "closed"
    sync_api.expect(page.locator("#row-J001")).to_have_count(0)
    page.locator(".bar-inside").get_by_role("button", name="Take it back").tap()
    sync_api.expect(page.locator("#row-J001")).to_have_count(1)
    assert get_vessel(farm, "J001").state == "running"
    row.get_by_text("Other", exact=True).tap()
    row.get_by_role("button", name="Shaken").tap()
    is_told(page, "J001: shaken.")
    assert [one.event for one in list_events(farm, ["J001"])] == ["shaken"]
    page.locator(".bar-inside").get_by_role("button", name="Take it back").tap()
    sync_api.expect(page.locator(".bar-inside > span")).to_have_text("J001: shaken, taken back.")
    assert list_events(farm, ["J001"]) == []
    page.locator("#row-J002 .other summary").tap()
    page.locator("#row-J002").get_by_label("To which shelf").fill("B7")
    page.locator("#row-J002").get_by_role("button", name="Moved", exact=True).tap()
    is_told(page, "J002: moved.")
    assert get_vessel(farm, "J002").shelf == "B7"
    page.locator(".bar-inside").get_by_role("button", name="Take it back").tap()
    sync_api.expect(page.locator(".bar-inside > span")).to_contain_text("taken back")
    assert get_vessel(farm, "J002").shelf == "A2"


def review_and_undo(page: Any, farm: Farm) -> None:
    page.get_by_role("link", name="Review").tap()
    card = page.get_by_role("article", name="B004: green patch")
    card.get_by_label("Your name").fill("Ann")
    card.get_by_role("button", name="It is real: take B004 off the list").tap()
    is_told(page, "B004: green patch, confirmed. Leave it closed, move it out, do not sniff it.")
    assert get_vessel(farm, "B004").state == "contaminated"
    page.locator(".bar-inside").get_by_role("button", name="Take it back").tap()
    sync_api.expect(card).to_be_visible()
    assert get_vessel(farm, "B004").state == "running"
    card.get_by_role("button", name="It is real: take B004 off the list").tap()
    sync_api.expect(card).to_have_count(0)
    standing = [one for one in list_verdicts(farm) if one.undone_at is None]
    assert [(one.vessel, one.verdict, one.by) for one in standing] == [("B004", "confirmed", "Ann")]


def move_to_fruit_and_harvest(page: Any, farm: Farm) -> None:
    """A bag is moved to fruit early, which is told; then it is harvested, on its own page."""
    page.get_by_role("link", name="Vessels").tap()
    page.get_by_label("or write its id").fill("b003")
    page.get_by_role("button", name="Open").tap()
    page.wait_for_url("**/vessel/B003")
    if not page.get_by_role("button", name="Moved to fruit").is_visible():
        page.locator(".other summary").tap()
    page.get_by_role("button", name="Moved to fruit").tap()
    is_told(page, "B003: moved to fruit.")
    page.locator(".other summary").tap()
    page.get_by_label("Fresh weight in kg").fill("0,45")
    page.get_by_role("button", name="Harvested").tap()
    sync_api.expect(page.locator(".bar-inside > span")).to_contain_text("B003: harvested. 0.45 kg.")
    assert [(one.vessel, one.fresh_kg) for one in list_harvests(farm, ["B003"])] == [("B003", 0.45)]


def the_next_list_agrees(page: Any, farm: Farm) -> None:
    """What the records say by the farm's own list is what the phone shows."""
    items = {one.outlook.vessel.id: one for one in list_today(farm, bring_up_to_date(farm))}
    assert "B004" not in items
    assert items["B003"].fruiting is not None
    page.get_by_role("link", name="Vessels").tap()
    sync_api.expect(page.locator("main h1")).to_have_text("Find a vessel")
    shown = page.locator(".plain-list strong").all_inner_texts()
    assert sorted(shown) == sorted(items)
    assert sorted(shown) == sorted(one.id for one in list_vessels(farm, state="running"))
    for vessel, item in items.items():
        last = item.outlook.last
        wanted = "no reading" if last is None else f"{last.percent:.0f} %"
        row = page.locator("li", has=page.locator(f"strong:text-is('{vessel}')"))
        assert row.locator(".percent").inner_text() == wanted
