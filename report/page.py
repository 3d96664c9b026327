"""The report as one HTML file: its facts are gathered here, its template only prints them."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from pathlib import Path

from farm import (
    TAKEN_OUT,
    Farm,
    Moments,
    TodayItem,
    day_words,
    explain_flags,
    face_pictures,
    list_vessels,
    on_farm_clock,
    span_words,
)
from report.cautions import CAUTIONS, SECTION_HEADINGS, colour_words
from report.drawing import Drawing, draw_curve
from report.templating import fill_template


@dataclass(frozen=True)
class Card:
    """One vessel on the page. Pictures are data URIs, "" where there is none; texts are plain."""

    id: str
    anchor: str
    facts: str
    percent: str
    percent_width: float
    bounds: str
    ready: str
    span: str
    next_step: str
    marks: tuple[str, ...]
    notes: tuple[str, ...]
    suspects: tuple[str, ...]
    photo: str
    face: str
    overlay: str
    drawing: Drawing
    drawing_says: str


@dataclass(frozen=True)
class Section:
    """A part of today's list. name: as the farm calls it."""

    name: str
    heading: str
    cards: tuple[Card, ...]


@dataclass(frozen=True)
class Page:
    """All that the template prints."""

    farm: str
    as_of: str
    n_running: int
    sections: tuple[Section, ...]
    has_suspects: bool
    contaminated: tuple[str, ...]
    cautions: tuple[str, ...]
    through_percent: float
    program: str


def write_report(farm: Farm, items: Sequence[TodayItem], target: Path) -> Path:
    """Write the report of today's items as one file that needs no network; its path."""
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(page_html(gather_page(farm, items)), "utf-8")
    return target


def gather_page(farm: Farm, items: Sequence[TodayItem]) -> Page:
    """The facts of the page."""
    names = {item.section for item in items}
    sections = tuple(
        Section(
            name,
            heading.format(days=farm.settings.days_ahead),
            tuple(_card(farm, item) for item in items if item.section == name),
        )
        for name, heading in SECTION_HEADINGS.items()
        if name in names or name == "ready"
    )
    return Page(
        farm=farm.folder.resolve().name,
        as_of=_day(farm.now, farm, with_time=True),
        n_running=len(items),
        sections=sections,
        has_suspects=any(card.suspects for section in sections for card in section.cards),
        contaminated=tuple(vessel.id for vessel in list_vessels(farm) if vessel.state in TAKEN_OUT),
        cautions=CAUTIONS,
        through_percent=farm.settings.through_percent,
        program=f"spawnrun {version('spawnrun')}",
    )


def page_html(page: Page) -> str:
    """The page as HTML; every text is escaped."""
    return fill_template("report.html", page=page)


def _card(farm: Farm, item: TodayItem) -> Card:
    outlook, vessel, last = item.outlook, item.outlook.vessel, item.outlook.last
    pictures = None if last is None else face_pictures(farm, last, 400)
    facts = [vessel.kind, vessel.species, vessel.substrate, f"batch {vessel.batch}" if vessel.batch else ""]
    percent = None if last is None else last.percent
    return Card(
        id=vessel.id,
        anchor="vessel-" + "".join(letter if letter.isalnum() else "-" for letter in vessel.id),
        facts=", ".join(filter(None, facts)),
        percent="no reading" if percent is None else f"{percent:.0f} %",
        percent_width=percent or 0.0,
        bounds="" if last is None else _bounds(last.percent_low, last.percent_high),
        ready=_day(outlook.ready.median, farm),
        span=_span(outlook.ready, farm),
        next_step=item.next_step,
        marks=item.marks,
        notes=(*outlook.forecast.notes, *explain_flags(() if last is None else last.flags)),
        suspects=tuple(
            f"{one.why}{f', {one.where}' if one.where else ''}. {colour_words(one.subject)}"
            for one in item.review
            if one.mark
        ),
        photo="" if last is None else _day(last.taken_at, farm, with_time=True),
        face="" if pictures is None else _data_uri(pictures.face),
        overlay="" if pictures is None else _data_uri(pictures.overlay),
        drawing=draw_curve(outlook, farm.now),
        drawing_says=_in_words(item, farm),
    )


def _in_words(item: TodayItem, farm: Farm) -> str:
    readings = ", ".join(f"{_day(one.taken_at, farm)}: {one.percent:.0f} %" for one in item.outlook.readings)
    return f"Readings of {item.outlook.vessel.id}: {readings or 'none'}"


def _bounds(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f"{low:.0f} to {high:.0f} %"


def _day(moment: datetime | None, farm: Farm, *, with_time: bool = False) -> str:
    if moment is None:
        return ""
    shown = on_farm_clock(moment, farm.zone)
    return day_words(shown) + f", {shown:%H:%M}" * with_time


def _span(moments: Moments, farm: Farm) -> str:
    ends = (moments.low, moments.median, moments.high)
    low, median, high = (None if end is None else on_farm_clock(end, farm.zone) for end in ends)
    return span_words(low, high, None if median is None else median.year)


def _data_uri(jpeg: bytes) -> str:
    return f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode('ascii')}"
