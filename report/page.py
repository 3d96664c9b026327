"""The report as one HTML file: its facts are gathered here, its template only prints them."""

import base64
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

from farm import (
    TAKEN_OUT,
    BatchView,
    Change,
    Farm,
    PictureSizes,
    TodayItem,
    batch_views,
    changes_since,
    list_vessels,
    vessel_pictures,
)
from report.cards import Card, anchor_of, day_of, make_card
from report.cautions import CAUTIONS, SECTION_HEADINGS
from report.change_words import CHANGE_HEADINGS, change_words
from report.templating import fill_template

#: Vessels up to which pictures are large; beyond, a page of five hundred stays below 30 MB.
_FEW_VESSELS = 100
_LARGE = PictureSizes(face_px=400, frame_px=150, frames=10)
_SMALL = PictureSizes(face_px=240, frame_px=88, frames=6, quality=72)
#: Sections that stand as lists of their own at the top; all vessels are in the table below.
_LISTED = ("look", "ready", "due", "soon")


@dataclass(frozen=True)
class Section:
    """A part of today's list. name: as the farm calls it."""

    name: str
    heading: str
    cards: tuple[Card, ...]


@dataclass(frozen=True)
class Batch:
    """A batch with its vessels. facts: what it is; counts: how it stands."""

    name: str
    anchor: str
    facts: str
    counts: str
    cards: tuple[Card, ...]


@dataclass(frozen=True)
class ChangeGroup:
    """Changes of one sort: (vessel, its anchor or "", what changed)."""

    heading: str
    lines: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class Page:
    """All that the template prints. elsewhere: (heading, count) of sections that have no list of their own.

    script_hash: SHA-256 of the page's own script, the only one that its policy lets run.
    """

    farm: str
    as_of: str
    since: str
    n_running: int
    changes: tuple[ChangeGroup, ...]
    sections: tuple[Section, ...]
    elsewhere: tuple[tuple[str, int], ...]
    batches: tuple[Batch, ...]
    has_suspects: bool
    contaminated: tuple[str, ...]
    cautions: tuple[str, ...]
    through_percent: float
    program: str
    script_hash: str

    @property
    def cards(self) -> list[Card]:
        """Every vessel in the order of today's list."""
        return [card for section in self.sections for card in section.cards]

    def values(self, name: str) -> list[str]:
        """What the vessels have of a fact, to choose from."""
        return sorted({getattr(card, name) for card in self.cards if getattr(card, name)})


def write_report(
    farm: Farm, items: Sequence[TodayItem], target: Path, *, since: datetime | None = None, workers: int = 1
) -> Path:
    """Write the report of today's items as one file that needs no network; its path.

    since: the moment from which on changes are told; None tells none. workers: processes for the pictures.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    changes = None if since is None else changes_since(farm, items, since)
    target.write_text(page_html(gather_page(farm, items, changes, since, workers=workers)), "utf-8")
    return target


def gather_page(
    farm: Farm,
    items: Sequence[TodayItem],
    changes: Sequence[Change] | None = None,
    since: datetime | None = None,
    *,
    workers: int = 1,
) -> Page:
    """The facts of the page. changes None: none are told."""
    sizes = _LARGE if len(items) <= _FEW_VESSELS else _SMALL
    readings = {item.outlook.vessel.id: item.outlook.readings for item in items}
    pictures = vessel_pictures(farm, readings, sizes, workers=workers)
    cards = {item.outlook.vessel.id: make_card(farm, item, pictures[item.outlook.vessel.id]) for item in items}
    names = {item.section for item in items}
    sections = tuple(
        Section(
            name,
            heading.format(days=farm.settings.days_ahead),
            tuple(cards[item.outlook.vessel.id] for item in items if item.section == name),
        )
        for name, heading in SECTION_HEADINGS.items()
        if name in names or name == "ready"
    )
    return Page(
        farm=farm.folder.resolve().name,
        as_of=day_of(farm.now, farm, with_time=True),
        since=day_of(since, farm, with_time=True),
        n_running=len(items),
        changes=tuple(_change_groups(farm, changes or (), cards)),
        sections=sections,
        elsewhere=tuple((one.heading, len(one.cards)) for one in sections if one.name not in _LISTED),
        batches=tuple(_batch(farm, view, cards) for view in batch_views(farm, items)),
        has_suspects=any(card.suspects for card in cards.values()),
        contaminated=tuple(vessel.id for vessel in list_vessels(farm) if vessel.state in TAKEN_OUT),
        cautions=CAUTIONS,
        through_percent=farm.settings.through_percent,
        program=f"spawnrun {version('spawnrun')}",
        script_hash=_script_hash(),
    )


def page_html(page: Page) -> str:
    """The page as HTML; every text is escaped."""
    return fill_template("report.html", page=page, listed=_LISTED)


def _script_hash() -> str:
    """Of the script as it stands in the page: a template that is included loses its last line's end."""
    script = (files("report") / "templates" / "report.js").read_text("utf-8").removesuffix("\n")
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")


def _batch(farm: Farm, view: BatchView, cards: dict[str, Card]) -> Batch:
    first, last = (day_of(at, farm) for at in view.inoculated)
    days = first if first == last else f"{first} to {last}"
    source = f"from {', '.join(view.sources)}" if view.sources else ""
    what = [", ".join(view.kinds), ", ".join(view.species), ", ".join(view.substrates), source, f"inoculated {days}"]
    running = [f"{len(view.items)} of {view.n_vessels} running"]
    running += [f"{view.n_contaminated} contaminated"] if view.n_contaminated else []
    running += [f"{view.n_closed} closed"] if view.n_closed else []
    running += [
        f"{SECTION_HEADINGS[name].format(days=farm.settings.days_ahead).lower()}: {count}"
        for name, count in view.sections.items()
    ]
    if view.percent is not None:
        low, middle, high = view.percent
        running.append(f"median {middle:.0f} % colonised ({low:.0f} to {high:.0f} %)")
    running += [f"next ready {day_of(view.first_ready, farm)}"] if view.first_ready else []
    return Batch(
        name=f"Batch {view.batch}" if view.batch else "Without a batch",
        anchor=anchor_of("batch", view.batch),
        facts="; ".join(filter(None, what)),
        counts="; ".join(running),
        cards=tuple(cards[item.outlook.vessel.id] for item in view.items),
    )


def _change_groups(farm: Farm, changes: Sequence[Change], cards: dict[str, Card]) -> list[ChangeGroup]:
    groups = []
    for what, heading in CHANGE_HEADINGS.items():
        mine = [one for one in changes if one.what == what]
        lines = tuple(
            (one.vessel.id, cards[one.vessel.id].anchor if one.vessel.id in cards else "", change_words(one, farm.zone))
            for one in mine
        )
        if lines:
            groups.append(ChangeGroup(heading, lines))
    return groups
