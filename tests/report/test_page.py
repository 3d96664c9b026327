"""The report: every text is escaped, nothing is fetched, contrast is readable, the content equals the list's."""

import base64
import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path

import pytest

from farm.fruiting import record_harvest
from farm.lists import SECTIONS, Change, TodayItem, list_today
from farm.lists.today import Section
from farm.outlook import Moments, Outlook, list_outlooks
from farm.records import add_vessels, import_vessels, mark_done
from farm.records.models import KeptReading, Suspect, Vessel
from farm.review import ReviewItem
from farm.store import Farm, create_farm
from farm.store.settings import UnitSettings
from growth.data import Curve, Forecast
from report import SECTION_HEADINGS, write_report
from report.drawing import draw_curve
from report.page import gather_page, page_html
from tests.values import known

START = datetime(2026, 3, 1, 8, tzinfo=UTC)
NASTY = '<script>alert(1)</script>" onload="x" \u202e=1+1'
#: As it is shown: the mark that would reverse the line is a visible character.
SHOWN = NASTY.replace("\u202e", "\N{REPLACEMENT CHARACTER}")


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[Farm]:
    with create_farm(tmp_path / "<b>my farm") as made:
        source = tmp_path / "vessels.csv"
        source.write_text("id,kind,inoculated\nB001,bag,2026-03-01\n")
        import_vessels(made, source)
        yield made.at(START + timedelta(days=10))


def reading(day: float, percent: float) -> KeptReading:
    return KeptReading(
        "photos/x.jpg",
        f"{day}",
        0,
        START + timedelta(days=day),
        "camera",
        "ok",
        "B001",
        "bag",
        percent=percent,
        percent_low=percent - 4,
        percent_high=percent + 4,
        face_box=(0, 0, 100, 100),
        suspects=(Suspect(NASTY, 3.0, (10, 10, 5, 5), 0.9),),
    )


def by_hand() -> tuple[KeptReading, ...]:
    return reading(3, 5), reading(6, 40), reading(9, 80)


def item(*, section: Section = "soon", suspect: bool = False, vessel_id: str = "B001") -> TodayItem:
    readings = by_hand()
    days = (0.0, 5.0, 10.0, 15.0)
    curve = Curve(days, (0.0, 28.0, 88.0, 99.5), (0.0, 22.0, 80.0, 97.0), (0.0, 35.0, 94.0, 100.0))
    moments = Moments(*(START + timedelta(days=day) for day in (14.0, 12.5, 16.0)))
    vessel = Vessel(vessel_id, "bag", START, species=NASTY, substrate="sawdust", batch=NASTY)
    shaken_at = (START + timedelta(days=4),)
    forecast = Forecast("B001", "colonising", curve=curve, notes=(NASTY,))
    outlook = Outlook(vessel, shaken_at, forecast, moments, moments, readings[-1], n_readings=len(readings))
    found = ReviewItem(
        "B001", NASTY, "high", f"{NASTY} patch", "middle", START, False, suspect=readings[-1].suspects[0]
    )
    return TodayItem(section, outlook, "fruiting", (NASTY,), (found,) if suspect else ())


class Page(HTMLParser):
    """Elements and texts of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.text = ""
        self.script = ""
        self.within = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.within = tag if tag in ("script", "nav") else self.within
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        self.within = "" if tag == self.within else self.within

    def handle_data(self, data: str) -> None:
        """Collect the text; the links at the top repeat headings and are left out."""
        if self.within == "script":
            self.script += data
        elif self.within != "nav":
            self.text += data


def parsed(farm: Farm, *items: TodayItem) -> Page:
    page = Page()
    page.feed(page_html(gather_page(farm, items)))
    return page


def test_names_and_notes_are_always_text(farm: Farm) -> None:
    page = parsed(farm, item(suspect=True))
    assert page.tags.count("script") == 1, "the page's own, at its end"
    assert not [name for name, _ in page.attributes if name.startswith("on")]
    assert SHOWN in page.text
    assert "<b>my farm" in page.text


def test_nothing_is_fetched(farm: Farm) -> None:
    page = parsed(farm, item(suspect=True))
    sources = [value for name, value in page.attributes if name in ("src", "href", "srcset", "data", "action")]
    assert all(value.startswith(("data:image/jpeg;base64,", "#")) for value in sources)
    policy = page.attributes[page.attributes.index(("http-equiv", "Content-Security-Policy")) + 1]
    digest = base64.b64encode(hashlib.sha256(page.script.encode()).digest()).decode()
    assert policy == (
        "content",
        f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'sha256-{digest}'; base-uri 'none';"
        " form-action 'none'",
    )
    assert not [part for part in ("fetch", "XMLHttp", "innerHTML", "eval(", "import(") if part in page.script]


def test_the_page_agrees_with_the_list(farm: Farm) -> None:
    text = " ".join(parsed(farm, item()).text.split())
    assert "Ready in the next 7 days (1)" in text
    assert "80 %" in text
    assert "Sun 15 Mar 2026" in text
    assert "13 Mar to 17 Mar" in text
    assert "fruiting" in text


def test_ready_vessels_are_grouped_by_their_next_step(farm: Farm) -> None:
    """A bag of sawdust fruits, a bag of grain is divided; the filter of the table uses the same words."""
    fruiting, spawn = item(section="ready"), item(section="ready", vessel_id="B002")
    grain = replace(spawn, outlook=replace(spawn.outlook, vessel=replace(spawn.outlook.vessel, substrate="rye grain")))
    page = parsed(farm, fruiting, grain)
    text = " ".join(page.text.split())
    assert text.index("Ready to expand to more grain, or to spawn to bulk (1) B002") < text.index(
        "Ready to fruit (1) B001"
    )
    assert "Ready now" not in text
    assert [value for name, value in page.attributes if name == "data-heading"] == [
        "Ready to expand to more grain, or to spawn to bulk",
        "Ready to fruit",
    ]
    assert {value for name, value in page.attributes if name == "id"} >= {
        "section-ready-spawn",
        "section-ready-fruiting",
    }
    assert "Ready now (0) none" in " ".join(parsed(farm, item()).text.split())


def test_every_section_of_the_list_has_its_heading_in_the_same_order() -> None:
    assert tuple(SECTION_HEADINGS) == SECTIONS


def test_cautions_follow_the_vessels_to_look_at(farm: Farm) -> None:
    text = " ".join(parsed(farm, item(section="look", suspect=True), item(vessel_id="B002")).text.split())
    assert text.index("Look at these first") < text.index("Leave the vessel closed") < text.index("Ready in the next")
    assert text.count("Leave the vessel closed") == 1
    assert "Leave the vessel closed" in parsed(farm, item()).text
    assert "If it is clean, ready" in text


def test_a_report_is_written_to_the_given_path(farm: Farm, tmp_path: Path) -> None:
    assert write_report(farm, [item()], tmp_path / "today.html").stat().st_size > 1000


def test_changes_come_first(farm: Farm) -> None:
    one = item(section="look", suspect=True)
    before, now = by_hand()[-2:]
    earlier = known(one.outlook.ready.median) - timedelta(days=3)
    changes = [
        Change("look", one.outlook.vessel, before, now, earlier, one.outlook.ready.median, one.review),
        Change("out", Vessel("B009", "bag", START), None, None, None, None),
    ]
    page = Page()
    page.feed(page_html(gather_page(farm, [one], changes, farm.now - timedelta(days=1))))
    text = " ".join(page.text.split())
    assert text.index("Changed since") < text.index("New to look at (1)") < text.index("Look at these first (1) B001")
    assert "80 %, was 40 %; ready Sun 15 Mar 2026, 3 days later than forecast before" in text
    assert "Removed as contaminated (1) B009" in text
    page = Page()
    page.feed(page_html(gather_page(farm, [one], [], farm.now - timedelta(days=1))))
    assert ": nothing" in page.text


def test_every_vessel_is_in_the_table_and_in_its_batch(farm: Farm) -> None:
    page = parsed(farm, item(section="later"))
    text = " ".join(page.text.split())
    assert "Later (1)" in text
    assert "All vessels (1)" in text
    assert f"Batch {SHOWN}" in page.text
    ids = [value for name, value in page.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    links = [value[1:] for name, value in page.attributes if name == "href" and value.startswith("#")]
    assert set(links) <= set(ids)


def test_the_drawing_stays_inside_its_box() -> None:
    drawing = draw_curve(item().outlook, by_hand(), START + timedelta(days=10))
    points = [tuple(map(float, point.split(","))) for point in f"{drawing.band} {drawing.median}".split()]
    assert all(drawing.left <= x <= drawing.right and drawing.top <= y <= drawing.bottom for x, y in points)
    assert [dot.x for dot in drawing.dots] == sorted(dot.x for dot in drawing.dots)
    assert drawing.dots[0].y > drawing.dots[-1].y
    assert drawing.ready is not None
    assert drawing.now < drawing.ready[0] < drawing.ready[1] < drawing.ready[2] <= drawing.right


def contrast(first: str, second: str) -> float:
    """Contrast ratio of WCAG 2.2 (W3C Recommendation, definitions of contrast ratio and relative luminance)."""
    light, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    parts = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize(
    ("first", "second", "ratio"),
    [("#000000", "#FFFFFF", 21.0), ("#767676", "#FFFFFF", 4.54), ("#FF0000", "#FFFFFF", 4.0)],
)
def test_the_contrast_formula_gives_well_known_ratios(first: str, second: str, ratio: float) -> None:
    """Ratios in the W3C's techniques and common checkers (G18 has 4.5:1 for #767676 on white)."""
    assert contrast(first, second) == pytest.approx(ratio, abs=0.005)


def test_texts_reach_the_contrast_of_wcag_aa_in_light_and_dark(farm: Farm) -> None:
    style = page_html(gather_page(farm, []))
    palettes = [
        dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block)) for block in re.findall(r":root \{(.*?)\}", style, re.S)
    ]
    assert len(palettes) == 3, "light, dark and print"
    for colours in palettes:
        for ink in ("ink", "soft", "accent"):
            for ground in ("paper", "card"):
                assert contrast(colours[ink], colours[ground]) >= 4.5, (ink, ground)
        assert contrast(colours["warn-ink"], colours["warn-paper"]) >= 4.5
        assert contrast(colours["bar"], colours["paper"]) >= 3.0


def test_harvests_stand_on_the_page_in_the_farm_s_unit(farm: Farm) -> None:
    """A block of 2.5 kg of sawdust with 60 % of water has 1 kg dry; a pound has 0.45359237 kg."""
    assert 'id="harvests"' not in page_html(gather_page(farm, []))
    start = START - timedelta(days=60)
    blocks = [Vessel(f"K{n}", "block", start, "oyster", "sawdust", batch="ONE", contents_kg=2.5) for n in (1, 2)]
    add_vessels(farm, blocks)
    for block, kg in zip(blocks, (0.5, 0.7), strict=True):
        record_harvest(farm, [block], kg, start + timedelta(days=20))
    html = page_html(gather_page(farm, list_today(farm, list_outlooks(farm))))
    told = html.split('id="harvests"')[1].split("</details>")[0]
    assert re.search(r"ONE</th><td data-of=.finished.>2 of 2</td><td data-of=.kg.>1.2</td>", told)
    assert "60 (0 to 187)" in told
    assert "Nothing here says that a mushroom is fit to eat" in told
    settings = farm.settings.model_copy(update={"units": UnitSettings(weights="lb")})
    pounds = Farm(farm.folder, farm.engine, settings).at(farm.now)
    html = page_html(gather_page(pounds, list_today(pounds, list_outlooks(pounds))))
    told = html.split('id="harvests"')[1].split("</details>")[0]
    assert re.search(r"<td data-of=.lb.>2.65</td>", told)
    assert "kg" not in told


def test_what_is_due_to_be_picked_stands_with_its_command_and_the_caution(farm: Farm) -> None:
    blocks = [Vessel(f"K{n}", "block", START, "oyster", "sawdust", batch="ONE") for n in (1, 2)]
    add_vessels(farm, blocks)
    mark_done(farm, blocks, START)
    (due,) = [
        one for one in gather_page(farm, list_today(farm, list_outlooks(farm))).sections if one.section == "harvest"
    ]
    assert due.heading == "Due to be picked"
    assert due.shown[0].command == "spawnrun harvest K1 K2 --weight WEIGHT --each"
    html = page_html(gather_page(farm, list_today(farm, list_outlooks(farm))))
    assert "harvest flush 1" in html
    assert html.count("About food.") == html.count("About spores.") == 1
    assert "flush 1 due" in html
    past = farm.at(START + timedelta(days=100))
    for one in blocks:
        for day in (8, 16, 24):
            record_harvest(past, [one], 0.5, START + timedelta(days=day))
    (due,) = [
        one for one in gather_page(past, list_today(past, list_outlooks(past))).sections if one.section == "harvest"
    ]
    assert due.shown[0].command == "spawnrun done K1 K2 --as spent"
    assert "3 kg picked so far" in due.shown[0].what
