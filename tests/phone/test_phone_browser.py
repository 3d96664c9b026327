"""The pages on a phone's screen: what the law of accessible pages asks for, offline, languages, label, own hash.

The criteria are those of WCAG 2.2 (W3C Recommendation, 5 October 2023), level AA, by their numbers.
"""

import hashlib
import random
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from farm.fruiting import record_harvest
from farm.records import add_vessels, get_vessel, list_events, list_verdicts
from farm.records.models import Vessel
from farm.store import Farm
from phone import PhoneServer
from phone.words import words_of
from tests.phone.conftest import KEPT_BACK
from tests.phone.serving import served

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (dev extra)")
PAGES = ("/", "/take", "/review", "/vessels", "/vessel/B002", "/more")
#: Relative luminance and contrast ratio as WCAG 2.2 defines them, of every text against what lies behind it.
CONTRASTS = """() => {
  const channel = (v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const luminance = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const colour = (text) => text.match(/[\\d.]+/g).map(Number);
  const behind = (one) => {
    for (let there = one; there; there = there.parentElement) {
      const [r, g, b, a = 1] = colour(getComputedStyle(there).backgroundColor);
      if (a > 0.99) return [r, g, b];
    }
    return [255, 255, 255];
  };
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const one = walk.currentNode.parentElement;
    const style = getComputedStyle(one);
    const isAside = one.closest("svg, .unseen, [hidden], script, option");
    if (!walk.currentNode.data.trim() || isAside || !one.checkVisibility()) continue;
    const [front, back] = [luminance(colour(style.color)), luminance(behind(one))];
    const ratio = (Math.max(front, back) + 0.05) / (Math.min(front, back) + 0.05);
    const size = parseFloat(style.fontSize), isLarge = size >= 24 || (size >= 18.66 && style.fontWeight >= 700);
    found.push([ratio, isLarge ? 3 : 4.5, walk.currentNode.data.trim().slice(0, 40)]);
  }
  return found;
}"""
TARGETS = """() => [...document.querySelectorAll(
    "button:not([hidden]), summary, label.button, a.button, .board a, .open, .pegs a, select")]
  .filter((one) => one.checkVisibility())
  .map((one) => [one.getBoundingClientRect(), one.innerText.slice(0, 30)])
  .map(([box, text]) => [box.width, box.height, text])"""


@pytest.fixture
def server(shelf: Farm) -> Iterator[PhoneServer]:
    with served(shelf) as started:
        yield started


@pytest.fixture
def open_page(server: PhoneServer, phone_page: Callable[..., Any]) -> Callable[..., Any]:
    """A paired phone with today's list open."""

    def opened(**settings: Any) -> Any:
        page = phone_page(**settings)
        page.goto(f"{server.site.address}/pair#{server.keys.new_code()}")
        page.locator("#pairing button").tap()
        page.wait_for_selector(".tally")
        return page

    return opened


def go(page: Any, server: PhoneServer, path: str) -> None:
    page.goto(f"{server.site.address}{path}")
    page.wait_for_load_state("load")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_texts_are_read_on_their_ground(open_page: Callable[..., Any], server: PhoneServer, scheme: str) -> None:
    """1.4.3: 4.5 to 1, or 3 to 1 for large text; also in the bar after a change, and on the pairing page."""
    page = open_page(color_scheme=scheme)
    page.locator("#row-B002 .other summary").tap()
    page.locator("#row-B002").get_by_role("button", name="Shaken").tap()
    page.wait_for_selector(".bar-inside")
    for path in (*PAGES, "/pair"):
        go(page, server, path)
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        found = page.evaluate(CONTRASTS)
        assert len(found) > 3
        assert [one for one in found if one[0] < one[1]] == [], path


def test_targets_are_large_enough_for_a_gloved_thumb(open_page: Callable[..., Any], server: PhoneServer) -> None:
    """2.5.8 asks for 24 px; these have 44 (2.5.5, level AAA). Links within a sentence are excepted there too."""
    page = open_page()
    for path in PAGES:
        go(page, server, path)
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        small = [one for one in page.evaluate(TARGETS) if one[0] < 44 or one[1] < 44]
        assert small == [], path


@pytest.mark.parametrize("language", ["en", "de"])
def test_pages_fit_a_narrow_screen_and_large_text(
    open_page: Callable[..., Any], server: PhoneServer, language: str
) -> None:
    """1.4.10: 320 px without scrolling sideways; 1.4.4: text twice as large."""
    page = open_page(locale=language)
    for width, size in ((320, "100%"), (390, "200%")):
        page.set_viewport_size({"width": width, "height": 700})
        for path in PAGES:
            go(page, server, path)
            page.evaluate("(size) => { document.documentElement.style.fontSize = size; }", size)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (path, width)


def test_every_page_has_a_title_a_language_a_heading_and_names_for_its_controls(
    open_page: Callable[..., Any], server: PhoneServer
) -> None:
    """2.4.2, 3.1.1, 2.4.6, 4.1.2, 1.1.1; and 2.4.1, a way past what is the same on every page."""
    page = open_page()
    titles = set()
    for path in PAGES:
        go(page, server, path)
        titles.add(page.title())
        assert page.locator("html").get_attribute("lang") == "en"
        assert page.locator("h1").count() == 1
        assert page.locator("main").count() == 1
        assert page.locator("a.skip").count() == 1
        assert page.locator("nav [aria-current=page]").count() == 1
        unnamed = page.evaluate(
            """() => [...document.querySelectorAll("input:not([type=hidden]), select, button:not([hidden]), a[href]")]
              .filter((one) => !one.textContent?.trim() && !one.ariaLabel && !(one.labels && one.labels.length)
                && !one.querySelector("img[alt]"))
              .map((one) => one.outerHTML)"""
        )
        assert unnamed == [], path
        assert page.locator("img:not([alt])").count() == 0
        ids = page.evaluate("[...document.querySelectorAll('[id]')].map((one) => one.id)")
        assert len(ids) == len(set(ids)), path
    assert len(titles) == len(PAGES)


def test_what_has_the_focus_is_seen_and_not_covered(open_page: Callable[..., Any], server: PhoneServer) -> None:
    """2.4.7 and 2.4.11: by keyboard, nothing with the focus lies wholly under the boards at the bottom."""
    page = open_page()
    go(page, server, "/more")
    board = page.locator(".board").bounding_box()["y"]
    for _ in range(18):
        page.keyboard.press("Tab")
        seen = page.evaluate(
            """() => { const one = document.activeElement, style = getComputedStyle(one);
              return [one.getBoundingClientRect().top, style.outlineStyle, !one.closest(".board")]; }"""
        )
        if page.evaluate("document.activeElement !== document.body"):
            assert seen[1] != "none"
            assert not seen[2] or seen[0] < board


def test_nothing_moves_while_pictures_load(open_page: Callable[..., Any], server: PhoneServer) -> None:
    """The layout shift (W3C, Layout Instability) of each page is none, whenever its pictures come."""
    page = open_page()
    for path in PAGES:
        page.add_init_script(
            """new PerformanceObserver((list) => { for (const one of list.getEntries())
              if (!one.hadRecentInput) window.moved = (window.moved || 0) + one.value; })
              .observe({ type: "layout-shift", buffered: true });"""
        )
        go(page, server, path)
        page.wait_for_timeout(300)
        assert page.evaluate("window.moved || 0") < 0.01, path


def test_it_is_installable(open_page: Callable[..., Any], server: PhoneServer) -> None:
    """What Chromium asks for: a manifest with name, icons of 192 and 512 px, start and display."""
    page = open_page()
    manifest = page.evaluate("fetch('/manifest.webmanifest').then((one) => one.json())")
    assert (manifest["start_url"], manifest["display"]) == ("/", "standalone")
    sizes = page.evaluate(
        """(sources) => Promise.all(sources.map((src) => new Promise((done) => { const one = new Image();
          one.onload = () => done(`${one.naturalWidth}x${one.naturalHeight}`); one.src = src; })))""",
        [icon["src"] for icon in manifest["icons"]],
    )
    assert sizes == [icon["sizes"] for icon in manifest["icons"]] == ["192x192", "512x512", "512x512"]
    wire = page.context.new_cdp_session(page)
    errors = {one["errorId"] for one in wire.send("Page.getInstallabilityErrors")["installabilityErrors"]}
    assert errors <= {"in-incognito"}  # what the tests' own browser is


def test_the_list_is_read_without_a_connection_after_the_page_was_closed(
    open_page: Callable[..., Any], server: PhoneServer
) -> None:
    """On this machine, and over TLS, browsers allow the worker that does it."""
    page = open_page(may_complain=True)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    sync_api.expect(page.locator("#row-B002")).to_be_visible()
    go(page, server, "/")
    page.context.set_offline(True)
    page.goto("about:blank")
    go(page, server, "/")
    assert page.locator("#row-B002").is_visible()
    page.get_by_role("link", name="More").tap()
    sync_api.expect(page.locator("#line")).to_contain_text("No connection")
    page.context.set_offline(False)
    page.get_by_role("link", name="More").tap()
    sync_api.expect(page.get_by_role("heading", name="Paired phones")).to_be_visible()
    assert page.locator("#line").is_hidden()


def test_without_a_worker_pages_that_were_opened_are_kept_while_the_page_is_open(
    open_page: Callable[..., Any], server: PhoneServer, shelf: Farm
) -> None:
    """As over plain HTTP in a network; a tick without a connection says that it was not noted."""
    page = open_page(may_complain=True, service_workers="block")
    page.get_by_role("link", name="Vessels").tap()
    page.wait_for_url("**/vessels")
    page.get_by_role("link", name="Today").tap()
    page.wait_for_selector(".tally")
    page.context.set_offline(True)
    page.get_by_role("link", name="Vessels").tap()
    sync_api.expect(page.locator("#line")).to_contain_text("No connection. This is what was here on")
    sync_api.expect(page.locator("main h1")).to_have_text("Find a vessel")
    assert page.locator(".plain-list strong").all_inner_texts() == ["B002", "B003", "B001"]
    page.get_by_role("link", name="Today").tap()
    sync_api.expect(page.locator(".tally")).to_be_visible()
    page.locator("#row-B002 .other summary").tap()
    page.locator("#row-B002").get_by_role("button", name="Shaken").tap()
    sync_api.expect(page.locator("#line")).to_contain_text("nothing was noted")
    page.get_by_role("link", name="More").tap()
    sync_api.expect(page.locator("#line")).to_contain_text("not opened before")


def test_a_revoked_phone_forgets_what_it_kept(open_page: Callable[..., Any], server: PhoneServer) -> None:
    page = open_page(may_complain=True)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    go(page, server, "/")
    server.keys.revoke(server.keys.phones()[0].id)
    page.get_by_role("link", name="Vessels").tap()
    page.wait_for_url("**/pair")
    page.wait_for_load_state("networkidle")
    kept = page.evaluate(
        """() => new Promise((done) => { const asked = indexedDB.open("spawnrun");
          asked.onsuccess = () => { const all = asked.result.transaction("pages").objectStore("pages").getAllKeys();
            all.onsuccess = () => done(all.result); }; })"""
    )
    assert kept == []
    lists = """caches.keys().then((names) => Promise.all(names.map((one) => caches.open(one))))
      .then((all) => Promise.all(all.map((one) => one.match("/"))))"""
    assert page.evaluate(lists) in ([], [None])


def test_the_language_is_the_browsers_and_can_be_chosen(open_page: Callable[..., Any], server: PhoneServer) -> None:
    page = open_page(locale="de-AT")
    german, english = words_of("de"), words_of("en")
    assert page.locator("h1").inner_text() == german("today.title")
    page.get_by_role("link", name=german("nav.review")).tap()
    card = page.get_by_role("article", name="B002: grüner Fleck")
    assert "Grün ist oft Grünschimmel" in card.inner_text()
    for path in PAGES:
        go(page, server, path)
        assert page.locator("html").get_attribute("lang") == "de"
        shown = page.locator("body").inner_text()
        # Whole English sentences of the pages; names, units and species are the farm's.
        strays = [key for key, text in english.texts.items() if " " in text and "{" not in text and text in shown]
        assert strays == [], path
    page.locator("select[name=language]").select_option("en")
    page.get_by_role("button", name=german("more.choose")).tap()
    sync_api.expect(page.locator("html")).to_have_attribute("lang", "en")
    assert page.locator("h1").inner_text() == english("more.title")


def test_our_own_hash_is_sha256(open_page: Callable[..., Any]) -> None:
    """FIPS 180-4, against hashlib: lengths around the edges of its blocks, and a photo's size."""
    page = open_page()
    chance = random.Random(8)
    texts = [chance.randbytes(length) for length in (0, 1, 3, 55, 56, 57, 63, 64, 65, 119, 120, 128, 1000, 262_147)]
    found = page.evaluate(
        """async (all) => { const { ownSha256, sha256 } = await import("/static/sha256.js");
          const buffers = all.map((hex) => Uint8Array.from(hex.match(/../g) || [], (one) => parseInt(one, 16)).buffer);
          return [buffers.map(ownSha256), await Promise.all(buffers.map(sha256))]; }""",
        [text.hex() for text in texts],
    )
    wanted = [hashlib.sha256(text).hexdigest() for text in texts]
    assert found == [wanted, wanted]


@pytest.mark.slow
def test_a_photo_of_a_label_opens_its_vessel(
    demo: Farm, serve: Callable[..., PhoneServer], phone_page: Callable[..., Any], tmp_path: Path
) -> None:
    """One label: its vessel. Several: a choice. None: what to do better. The picture is not kept."""
    from PIL import Image

    home = demo.folder.parent
    server = serve(demo)
    page = phone_page(may_complain=True)
    page.goto(f"{server.site.address}/pair#{server.keys.new_code()}")
    page.locator("#pairing button").tap()
    page.wait_for_selector(".tally", timeout=120_000)
    page.get_by_role("link", name="Vessels").tap()
    page.wait_for_selector("#scan", state="attached")
    Image.new("RGB", (600, 400), (90, 90, 90)).save(tmp_path / "none.jpg")
    page.set_input_files("#scan", str(tmp_path / "none.jpg"))
    sync_api.expect(page.locator("#scanned")).to_contain_text("No label could be read", timeout=60_000)
    page.set_input_files("#scan", str(home / Path(KEPT_BACK[1]).name))
    sync_api.expect(page.locator("#scanned a")).to_have_count(2, timeout=60_000)
    assert sorted(page.locator("#scanned a").all_inner_texts()) == ["J001", "J002"]
    bags = Image.open(home / Path(KEPT_BACK[0]).name)
    bags.crop((0, 0, bags.width // 3, bags.height // 2)).save(tmp_path / "one.jpg", quality=92)
    page.set_input_files("#scan", str(tmp_path / "one.jpg"))
    page.wait_for_url("**/vessel/B00*", timeout=60_000)
    assert page.locator("h1").inner_text().startswith("B00")
    assert not (demo.folder / "photos" / "_from_phones").exists()


@pytest.mark.slow
def test_from_the_icon_to_a_bag_that_is_done_is_two_taps(
    demo: Farm, serve: Callable[..., PhoneServer], phone_page: Callable[..., Any]
) -> None:
    """The icon opens today's list (the manifest's start page), and each vessel's button stands on it."""
    server = serve(demo)
    page = phone_page()
    page.goto(f"{server.site.address}/pair#{server.keys.new_code()}")
    page.locator("#pairing button").tap()
    page.wait_for_selector(".tally", timeout=120_000)
    start = page.evaluate("fetch('/manifest.webmanifest').then((one) => one.json()).then((one) => one.start_url)")
    go(page, server, start)  # the first tap
    page.locator("#row-J001").get_by_role("button", name="Used as spawn").tap()  # the second
    sync_api.expect(page.locator(".bar-inside > span")).to_contain_text("J001: used as spawn.")
    assert get_vessel(demo, "J001").state == "closed"


def test_a_double_tap_on_today_ticks_one_vessel(
    shelf: Farm, serve: Callable[..., PhoneServer], phone_page: Callable[..., Any]
) -> None:
    """The first of two blocks that bear no more goes, and the second has its button under the finger."""
    blocks = [Vessel(f"K00{n}", "block", shelf.now - timedelta(days=90), "oyster", "straw") for n in (1, 2)]
    add_vessels(shelf, blocks)
    for days in (40, 32, 24):
        record_harvest(shelf, blocks, 0.3, shelf.now - timedelta(days=days))
    server = serve(shelf)
    page = phone_page()
    page.goto(f"{server.site.address}/pair#{server.keys.new_code()}")
    page.locator("#pairing button").tap()
    page.wait_for_selector(".tally")
    page.clock.install()
    page.clock.pause_at(page.evaluate("Date.now()") + 60_000)
    buttons = page.locator("button.main[value=spent]")
    sync_api.expect(buttons).to_have_count(2)
    buttons.first.scroll_into_view_if_needed()
    box = buttons.first.bounding_box()
    place = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.touchscreen.tap(*place)
    sync_api.expect(buttons).to_have_count(1)
    for later_ms in (150, 700):
        page.clock.run_for(later_ms)
        page.touchscreen.tap(*place)
    assert [(one.vessel, one.event) for one in list_events(shelf)] == [("K001", "spent")]
    page.clock.run_for(200)
    buttons.tap()
    sync_api.expect(buttons).to_have_count(0)
    assert [one.vessel for one in list_events(shelf)] == ["K001", "K002"]


def test_a_double_tap_does_not_tick_what_moved_under_the_finger(
    open_page: Callable[..., Any], server: PhoneServer, shelf: Farm
) -> None:
    """The card goes, and the next has its button in the same place: only a tap after a second is for that one."""
    page = open_page()
    go(page, server, "/review")
    page.clock.install()
    page.clock.pause_at(page.evaluate("Date.now()") + 60_000)
    button = page.locator(".judge button[value=dismissed]").first
    button.scroll_into_view_if_needed()
    box = button.bounding_box()
    place = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.touchscreen.tap(*place)
    sync_api.expect(page.locator(".judge")).to_have_count(1)
    assert page.evaluate("([x, y]) => document.elementFromPoint(x, y).closest('form')", place) is None
    for later_ms in (150, 700):
        page.clock.run_for(later_ms)
        page.touchscreen.tap(*place)
    assert [one.vessel for one in list_verdicts(shelf)] == ["B002"]
    page.clock.run_for(200)
    page.locator(".judge button[value=dismissed]").tap()
    sync_api.expect(page.locator(".judge")).to_have_count(0)
    assert [one.vessel for one in list_verdicts(shelf)] == ["B002", "B003"]
