"""The HTML report: collects the facts; the template only prints them."""

import base64
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

from farm.lists import Change, TodayItem, batch_views
from farm.pictures import PictureSizes
from farm.records import ids_in_short, list_taken_out
from farm.store import Farm, output_file
from report.batch_cards import Batch, batch_of
from report.cards import Card, day_of
from report.cautions import CAUTIONS, FOOD_CAUTION, SPORE_CAUTION
from report.change_words import CHANGE_HEADINGS, change_words
from report.grouped_list import lines_shown, list_groups
from report.pages import ONE_PAGE, SMALL, cards_of, clear_pages, write_pages
from report.task_lines import CalendarDay, TaskSection, calendar_weeks, task_section
from report.templating import fill_template
from report.yield_table import YieldTable, yield_tables

#: Up to this many vessels the pictures are large.
_FEW_VESSELS = 100
_LARGE = PictureSizes(face_px=400, frame_px=150, frames=10)
#: Up to this many vessels the table and the batches are unfolded from the start.
_SHORT_LIST = 12
#: Tasks that are shown at once, of all sections together: with their headings they fit three screens of a phone.
_MOST_LINES = 17


@dataclass(frozen=True)
class ChangeGroup:
    """Changes of one kind: (vessel, link or "", what changed)."""

    heading: str
    lines: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class Page:
    """Everything that the template prints. changed: the changes in one line; weeks: the days ahead.

    script_hash: SHA-256 of the page's script, the only one that its security policy allows. pages: the folder with the
    vessels' pages, "" if all vessels are on this page. yields: what was harvested so far.
    """

    farm: str
    as_of: str
    since: str
    n_running: int
    changed: str
    changes: tuple[ChangeGroup, ...]
    sections: tuple[TaskSection, ...]
    weeks: tuple[tuple[CalendarDay, ...], ...]
    batches: tuple[Batch, ...]
    has_suspects: bool
    contaminated: tuple[str, ...]
    cautions: tuple[str, ...]
    food_caution: str
    spore_caution: str
    through_percent: float
    program: str
    script_hash: str
    pages: str = ""
    yields: tuple[YieldTable, ...] = ()

    @property
    def removed(self) -> str:
        """The vessels that were removed as contaminated, in short."""
        return ids_in_short(self.contaminated)

    @property
    def cards(self) -> list[Card]:
        """Every vessel in the order of today's list."""
        return [card for section in self.sections for card in section.cards]

    def values(self, name: str) -> list[str]:
        """The distinct values of a fact, for the filter."""
        return sorted({getattr(card, name) for card in self.cards if getattr(card, name)})


def write_report(
    farm: Farm,
    items: Sequence[TodayItem],
    target: Path,
    *,
    changes: Sequence[Change] | None = None,
    since: datetime | None = None,
    workers: int = 1,
) -> Path:
    """Write the report of today's items as one file that needs no network; its path.

    Of many vessels the faces and curves are on pages in a folder beside it, whose name is the file's with "-pages".
    changes: what has changed since that moment; None: nothing is said of it. workers: processes for the pictures.
    Raises OutputPathError.
    """
    output_file(target)
    pages = target.with_name(f"{target.stem}-pages")
    clear_pages(pages)
    if len(items) > ONE_PAGE:
        cards = write_pages(farm, items, target, pages, workers=workers)
        front = gather_front(farm, items, cards, changes, since, pages=pages.name)
    else:
        front = gather_page(farm, items, changes, since, workers=workers)
    target.write_text(page_html(front), "utf-8")
    return target


def gather_page(
    farm: Farm,
    items: Sequence[TodayItem],
    changes: Sequence[Change] | None = None,
    since: datetime | None = None,
    *,
    workers: int = 1,
) -> Page:
    """The facts of a report in one page. changes: None leaves out the section of changes."""
    sizes = _LARGE if len(items) <= _FEW_VESSELS else SMALL
    return gather_front(farm, items, cards_of(farm, items, sizes, workers=workers), changes, since)


def gather_front(
    farm: Farm,
    items: Sequence[TodayItem],
    cards: Mapping[str, Card],
    changes: Sequence[Change] | None,
    since: datetime | None,
    *,
    pages: str = "",
) -> Page:
    """The facts of the front page. cards: by vessel id; pages: the folder with their pages, "" if on this page."""
    listed = [one for one in list_groups(items, farm.settings.days_ahead) if one.items or one.section == "ready"]
    shown = lines_shown(listed, _MOST_LINES)
    sections = tuple(task_section(farm, one, cards, n_shown) for one, n_shown in zip(listed, shown, strict=True))
    groups = tuple(_change_groups(farm, changes or (), cards))
    return Page(
        farm=farm.folder.resolve().name,
        as_of=day_of(farm.now, farm, with_time=True),
        since=day_of(since, farm, with_time=True),
        n_running=len(items),
        changed="; ".join(f"{one.heading.lower()}: {len(one.lines)}" for one in groups) or "nothing",
        changes=groups,
        sections=sections,
        weeks=tuple(tuple(week) for week in calendar_weeks(farm, items)) if items else (),
        batches=tuple(batch_of(farm, view, cards) for view in batch_views(farm, items)),
        has_suspects=any(card.suspects for card in cards.values()),
        contaminated=tuple(vessel.id for vessel in list_taken_out(farm)),
        cautions=CAUTIONS,
        food_caution=FOOD_CAUTION,
        spore_caution=SPORE_CAUTION,
        through_percent=farm.settings.through_percent,
        program=f"spawnrun {version('spawnrun')}",
        script_hash=_script_hash(),
        pages=pages,
        yields=yield_tables(farm),
    )


def page_html(page: Page) -> str:
    """The page as HTML; every text is escaped."""
    return fill_template("report.html", page=page, is_short=page.n_running <= _SHORT_LIST)


def _script_hash() -> str:
    """Base64 SHA-256 of the script as included in the page, which drops the final line feed."""
    script = (files("report") / "templates" / "report.js").read_text("utf-8").removesuffix("\n")
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")


def _change_groups(farm: Farm, changes: Sequence[Change], cards: Mapping[str, Card]) -> list[ChangeGroup]:
    groups = []
    for what, heading in CHANGE_HEADINGS.items():
        mine = [one for one in changes if one.what == what]
        lines = tuple((one.vessel.id, _link(one, cards), change_words(one, farm.zone, farm.units)) for one in mine)
        if lines:
            groups.append(ChangeGroup(heading, lines))
    return groups


def _link(change: Change, cards: Mapping[str, Card]) -> str:
    """Link to the changed vessel, "" where it is not on the report."""
    card = cards.get(change.vessel.id)
    return "" if card is None else card.href
