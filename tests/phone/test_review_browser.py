"""The review in a real browser: a verdict is stored in the records and changes the next list of the day."""

from collections.abc import Iterator
from typing import Any

import pytest

from farm.lists import list_today
from farm.outlook import bring_up_to_date
from farm.records import get_vessel, list_verdicts
from farm.store import Farm
from phone import PhoneServer
from tests.phone.conftest import PATIENCE_MS
from tests.phone.serving import served

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (dev extra)")


@pytest.fixture
def server(shelf: Farm) -> Iterator[PhoneServer]:
    with served(shelf) as started:
        yield started


@pytest.fixture
def page(browser: Any, server: PhoneServer) -> Iterator[Any]:
    """The review, opened as `review --open` does it: paired by the address alone."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en")
    opened = context.new_page()
    opened.set_default_timeout(PATIENCE_MS)
    sync_api.expect.set_options(timeout=PATIENCE_MS)
    complaints: list[str] = []
    opened.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.goto(f"{server.site.address}/pair#{server.keys.new_code(desk=True)}/review")
    opened.wait_for_selector(".judge")
    yield opened
    assert complaints == []
    context.close()


def sections(farm: Farm) -> dict[str, str]:
    return {one.outlook.vessel.id: one.section for one in list_today(farm, bring_up_to_date(farm))}


def is_told(page: Any, text: str) -> None:
    sync_api.expect(page.locator(".bar-inside > span")).to_have_text(text)


def test_a_verdict_by_mouse_is_in_the_records_and_in_the_next_list(page: Any, shelf: Farm) -> None:
    assert sections(shelf)["B002"] == "look"
    card = page.get_by_role("article", name="B002: green patch")
    card.get_by_label("Note").fill("powdery")
    card.get_by_label("Your name").fill("Ann")
    card.get_by_role("button", name="It is real").click()
    closed = "Leave it closed, move it out, do not sniff it."
    mould = "Mould sheds spores: wear a respirator (N-95 or FFP2) and gloves when you handle it."
    is_told(page, f"B002: green patch, confirmed. {closed} {mould}")
    (kept,) = list_verdicts(shelf)
    assert (kept.vessel, kept.subject, kept.verdict, kept.by, kept.note) == (
        "B002", "green", "confirmed", "Ann", "powdery",
    )  # fmt: skip
    assert get_vessel(shelf, "B002").state == "contaminated"
    assert "B002" not in sections(shelf)


def test_the_keyboard_alone_is_enough(page: Any, shelf: Farm) -> None:
    for vessel in ("B002", "B003"):
        page.keyboard.press("j")
        assert page.evaluate("document.activeElement.innerText").startswith(f"{vessel}: green patch")
    page.keyboard.press("n")
    page.keyboard.type("a reflection, cdw")
    page.keyboard.press("Enter")
    assert list_verdicts(shelf) == [], "Enter in a note is no verdict"
    page.keyboard.press("Escape")
    page.keyboard.press("d")
    is_told(page, "B003: green patch, dismissed.")
    (kept,) = list_verdicts(shelf)
    assert (kept.vessel, kept.verdict, kept.note) == ("B003", "dismissed", "a reflection, cdw")
    assert "B003" in sections(shelf)
    assert sections(shelf)["B003"] != "look"
    assert page.get_by_role("article").count() == 1
    page.keyboard.press("u")
    sync_api.expect(page.get_by_role("article")).to_have_count(2)
    assert list_verdicts(shelf)[0].undone_at is not None
    assert sections(shelf)["B003"] == "look"


def test_tab_reaches_every_button_in_order(page: Any) -> None:
    reached = []
    for _ in range(24):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.value || document.activeElement.name || ''"))
    wanted = ["confirmed", "dismissed", "watched", "yes", "note", "by"]
    assert [one for one in reached if one in wanted][:6] == wanted


def test_the_pictures_load_and_have_descriptions(page: Any) -> None:
    page.evaluate("document.querySelectorAll('img').forEach((one) => { one.loading = 'eager'; })")
    # Not wait_for_function: it evaluates text in the page, which the page's content policy forbids.
    page.evaluate("Promise.allSettled([...document.images].map((one) => one.decode()))")
    # The picture of a row says nothing that its heading does not.
    shown = page.evaluate("[...document.images].map((one) => [one.naturalWidth, one.alt || one.closest('summary')])")
    assert shown
    assert all(width > 0 and text is not None for width, text in shown)
    assert page.evaluate("[...document.querySelectorAll('summary img')].every((one) => one.alt === '')")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_the_page_fits_and_buttons_are_large_enough(page: Any, shelf: Farm, scheme: str) -> None:
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    # WCAG 2.2, success criterion 2.5.5 (enhanced): targets of at least 44 by 44 CSS px.
    for box in page.evaluate(
        "[...document.querySelectorAll('button:not([hidden])')].map((one) => one.getBoundingClientRect().toJSON())"
    ):
        assert box["width"] >= 44
        assert box["height"] >= 44
    page.get_by_role("button", name="Not sure").first.click()
    is_told(page, "B002: green patch, watched.")
    assert list_verdicts(shelf)[0].verdict == "watched"


def test_after_a_verdict_the_next_item_stands_in_the_same_place(page: Any, shelf: Farm) -> None:
    second = page.get_by_role("article", name="B003: green patch")
    first = page.get_by_role("article", name="B002: green patch")
    first.get_by_role("button", name="It is nothing").scroll_into_view_if_needed()
    top = first.bounding_box()["y"]
    first.get_by_role("button", name="It is nothing").click()
    is_told(page, "B002: green patch, dismissed.")
    assert abs(second.bounding_box()["y"] - top) < 3
    assert page.evaluate("document.activeElement.innerText").startswith("B003: green patch")


def test_a_page_of_another_site_cannot_post_a_verdict_or_read_the_page(
    page: Any, server: PhoneServer, shelf: Farm
) -> None:
    """What another open site could try in a paired browser: send a form, and fetch the page by script."""
    address = f"{server.site.address}/"
    context = page.context
    other = context.new_page()
    other.route("http://other.example/", lambda route: route.fulfill(content_type="text/html", body="<h1>other</h1>"))
    other.goto("http://other.example/")
    read = other.evaluate(
        "(at) => fetch(at).then(() => 'read', () => 'refused')", address
    )  # fmt: skip
    assert read == "refused"
    other.evaluate(
        """(at) => { const form = document.createElement('form'); form.method = 'post'; form.action = at + 'verdict';
        const fields = {vessel: 'B002', suspect: 'green', verdict: 'confirmed', token: 'x'};
        for (const [name, value] of Object.entries(fields))
        { const field = document.createElement('input'); field.name = name; field.value = value; form.append(field); }
        document.body.append(form); form.submit(); }""",
        address,
    )
    other.wait_for_load_state("load")
    assert list_verdicts(shelf) == []
