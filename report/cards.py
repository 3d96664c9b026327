"""One vessel on the report: its facts as text, its pictures as data URIs."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from calibration import species_name
from farm.lists import TodayItem
from farm.outlook import Moments
from farm.pictures import VesselPictures
from farm.records import explain_flags
from farm.records.models import KeptReading
from farm.store import Farm, day_words, on_farm_clock, span_words
from report.cautions import colour_words
from report.drawing import Drawing, draw_curve, short_day
from report.grouped_list import heading_of

#: Below the face of a photo that only shows a suspect.
_NO_PERCENT = "no percent: what may be mould is framed"


@dataclass(frozen=True)
class Frame:
    """One day of a strip. picture: data URI; says: the percent as text."""

    picture: str
    day: str
    says: str


@dataclass(frozen=True)
class Card:
    """One vessel on the report. Pictures are data URIs, "" if there is none; texts are not yet escaped.

    section, heading: its section of today's list. ready: the day on which it is ready, or to be picked; ready_word:
    what stands before it; ready_order: sort key of it, "" without one. page: file of its page relative to the front
    page; "" means the front page itself. why: what is behind the marks. photo: the day of the face; measured: what is
    drawn on it. picked: what was harvested, "" for nothing.
    """

    id: str
    anchor: str
    section: str
    heading: str
    kind: str
    species: str
    batch: str
    shelf: str
    facts: str
    percent: str
    percent_width: float
    bounds: str
    ready: str
    ready_word: str
    ready_order: str
    span: str
    next_step: str
    marks: tuple[str, ...]
    notes: tuple[str, ...]
    suspects: tuple[str, ...]
    why: tuple[str, ...]
    photo: str
    measured: str
    small: str
    face: str
    overlay: str
    strip: tuple[Frame, ...]
    drawing: Drawing
    drawing_says: str
    page: str = ""
    picked: str = ""

    @property
    def href(self) -> str:
        """Link to the vessel from the front page."""
        return f"{self.page}#{self.anchor}"


def make_card(farm: Farm, item: TodayItem, readings: Sequence[KeptReading], pictures: VesselPictures) -> Card:
    """The card of one item of today's list. readings: the vessel's series, oldest first."""
    outlook, vessel, last = item.outlook, item.outlook.vessel, item.outlook.last
    facts = [
        vessel.kind,
        species_name(vessel.species),
        vessel.substrate,
        f"from {vessel.source}" if vessel.source else "",
    ]
    percent = None if last is None else last.percent
    return Card(
        id=vessel.id,
        anchor=anchor_of("vessel", vessel.id),
        section=item.section,
        heading=heading_of(item, farm.settings.days_ahead),
        kind=vessel.kind,
        species=species_name(vessel.species),
        batch=vessel.batch,
        shelf=vessel.shelf,
        facts=", ".join(filter(None, facts)),
        percent="no reading" if percent is None else f"{percent:.0f} %",
        percent_width=percent or 0.0,
        bounds="" if last is None else _bounds(last.percent_low, last.percent_high),
        ready=day_of(item.day, farm),
        ready_word=_ready_word(item),
        ready_order="" if item.day is None else item.day.isoformat(),
        span=_span(outlook.ready, farm) if item.fruiting is None else "",
        next_step=item.next_step,
        marks=item.marks,
        notes=(*outlook.forecast.notes, *explain_flags(() if last is None else last.flags)),
        suspects=tuple(
            f"{one.why}{f', {one.where}' if one.where else ''}. {colour_words(one.subject)}"
            for one in item.review
            if one.suspect
        ),
        why=_why(item),
        photo="" if pictures.shown is None else day_of(pictures.shown.taken_at, farm, with_time=True),
        measured="measured" if pictures.shown is None or pictures.shown.status == "ok" else _NO_PERCENT,
        small="" if pictures.newest is None else _data_uri(pictures.newest.small),
        face="" if pictures.newest is None else _data_uri(pictures.newest.face),
        overlay="" if pictures.newest is None else _data_uri(pictures.newest.overlay),
        strip=tuple(
            Frame(
                _data_uri(one.jpeg),
                short_day(one.reading.taken_at, farm.zone),
                "no percent" if one.reading.percent is None else f"{one.reading.percent:.0f} %",
            )
            for one in pictures.strip
        ),
        drawing=draw_curve(outlook, readings, farm.now, farm.zone),
        drawing_says=_in_words(vessel.id, readings, farm),
        picked=_picked(item, farm),
    )


def _ready_word(item: TodayItem) -> str:
    """What stands before the day of an item: "ready since" and the like."""
    if any(one.suspect for one in item.review):
        return "if it is clean, to be picked" if item.fruiting else "if it is clean, ready"
    if item.fruiting is not None:
        return "another flush was due" if item.fruiting.stage == "past" else f"flush {item.fruiting.next_flush} due"
    return "ready since" if item.section == "ready" else "ready"


def _picked(item: TodayItem, farm: Farm) -> str:
    """What was harvested of it, such as "1.2 kg picked in 2 flushes"; "" for nothing."""
    flushes = item.fruiting.flushes if item.fruiting else ()
    if not flushes or item.fruiting is None:
        return ""
    return f"{farm.units.weight(item.fruiting.fresh_kg)} picked in {len(flushes)} flush{'es' * (len(flushes) != 1)}"


def _why(item: TodayItem) -> tuple[str, ...]:
    """What was seen and computed behind the marks of a vessel, for who asks."""
    last = item.outlook.last
    seen = (
        f"{one.why}{f', {one.where}' if one.where else ''}{f'; {one.worth}' if one.worth else ''}"
        for one in item.review
    )
    return (*seen, *item.outlook.forecast.notes, *explain_flags(() if last is None else last.flags))


def anchor_of(what: str, name: str) -> str:
    """An HTML id; ASCII letters and digits are kept, other characters become their code point in hexadecimal."""
    return f"{what}-" + "".join(
        letter if letter.isascii() and letter.isalnum() else f"_{ord(letter):x}_" for letter in name
    )


def _in_words(vessel: str, readings: Sequence[KeptReading], farm: Farm) -> str:
    listed = ", ".join(f"{day_of(one.taken_at, farm)}: {one.percent:.0f} %" for one in readings)
    return f"Readings of {vessel}: {listed or 'none'}"


def _bounds(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f"{low:.0f} to {high:.0f} %"


def day_of(moment: datetime | None, farm: Farm, *, with_time: bool = False) -> str:
    """A moment as a date on the farm's clock, with the time if ``with_time``; "" for None."""
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
