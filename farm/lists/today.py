"""Today's list: what to look at first, what is ready, due or comes in the next days, and the rest."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from calibration import Use, vessel_uses
from farm.fruiting import fruiting_since
from farm.lists.marks import TAKE_A_PHOTO, growth_marks, photo_mark, review_mark
from farm.outlook import Outlook
from farm.records import confirmed_stalls
from farm.review import ReviewItem, review_items
from farm.store import Farm, day_words, on_farm_clock

#: ready: due, and photographed since; due: forecast for a day that is past, and not photographed since.
#: fruiting: it was opened to fruit.
Section = Literal["look", "ready", "due", "soon", "later", "unknown", "fruiting"]
SECTIONS: tuple[Section, ...] = ("look", "ready", "due", "soon", "later", "unknown", "fruiting")

#: What to do next with a vessel that something is wrong with.
LOOK_FIRST = "look at it first"
#: With one that was opened to fruit.
FRUITING_STEP = "harvest"
#: And with one that has stalled, as a person confirmed.
STALLED_STEP = "discard it, or give it more time"


@dataclass(frozen=True)
class TodayItem:
    """One vessel on the list.

    action: what to do with it now, "" for nothing; next_step: what follows once it is ready. marks: short words, each
    with what to do; () is none.
    """

    section: Section
    outlook: Outlook
    next_step: str
    marks: tuple[str, ...]
    review: tuple[ReviewItem, ...]
    action: str = ""

    @property
    def needs_look(self) -> bool:
        """Whether it is to be looked at before anything else is done with it."""
        return self.section == "look"

    @property
    def used_for(self) -> Use:
        """What the vessel is for."""
        return self.outlook.vessel.used_for


def list_today(farm: Farm, outlooks: Sequence[Outlook], *, days: int | None = None) -> list[TodayItem]:
    """Today's list from the outlooks of a farm and what is up for review on them, as ``sort_into_sections`` has it."""
    return sort_into_sections(farm, outlooks, review_items(farm, outlooks), days=days)


def sort_into_sections(
    farm: Farm, outlooks: Sequence[Outlook], items: Sequence[ReviewItem], *, days: int | None = None
) -> list[TodayItem]:
    """Running vessels by section; what to look at by urgency, the others by day. days None means the farm's setting.

    A vessel that something up for review holds back stands under "look", never among the ready ones.
    """
    moment = farm.now
    ahead = moment + timedelta(days=farm.settings.days_ahead if days is None else days)
    by_vessel: dict[str, list[ReviewItem]] = {}
    for item in items:
        by_vessel.setdefault(item.vessel, []).append(item)
    stalls = confirmed_stalls(farm)
    running = [outlook for outlook in outlooks if outlook.vessel.state == "running"]
    fruits = fruiting_since(farm, [one.vessel.id for one in running if one.vessel.used_for == "fruiting"])
    rows = []
    for outlook in running:
        review = tuple(by_vessel.get(outlook.vessel.id, ()))
        if outlook.vessel.id in fruits:
            rows.append(_fruiting_item(farm, outlook, review, fruits[outlook.vessel.id]))
            continue
        given_up = outlook.vessel.id in stalls and outlook.forecast.status == "stalled"
        rows.append(_item(outlook, review, moment, ahead, given_up=given_up))
    urgency = {vessel: place for place, vessel in reversed(list(enumerate(item.vessel for item in items)))}
    return sorted(rows, key=lambda row: _place(row, urgency))


def _item(
    outlook: Outlook, review: tuple[ReviewItem, ...], moment: datetime, ahead: datetime, *, given_up: bool
) -> TodayItem:
    """given_up: it has stalled, and a person confirmed it."""
    is_due = outlook.forecast.status == "ready"
    is_seen = outlook.is_seen_ready
    section: Section = "later"
    pressing = any(item.holds_back for item in review)
    if pressing:
        section = "look"
    elif is_seen:
        section = "ready"
    elif outlook.ready.median is None:
        section = "unknown"
    elif outlook.ready.median <= moment:
        section = "due"
    elif outlook.ready.median <= ahead:
        section = "soon"
    photo = photo_mark(outlook, moment)
    marks = [*map(review_mark, review), *(["do not use it until that is cleared"] if is_due and pressing else [])]
    marks += ["stalled, as you confirmed: throw it out, or wait"] if given_up and not pressing else []
    marks += [*filter(None, [photo]), *growth_marks(outlook)]
    if section in ("ready", "due", "soon") and outlook.vessel.use_is_assumed:
        marks.append(f"say what it is for: {outlook.vessel.use_in_words}")
    usual_step = vessel_uses()[outlook.vessel.used_for].next_step
    step = LOOK_FIRST if pressing else STALLED_STEP if given_up else usual_step
    action = marks[0] if pressing else step if section == "ready" or given_up else TAKE_A_PHOTO if photo else ""
    return TodayItem(section, outlook, step, tuple(dict.fromkeys(marks)), review, action)


def _fruiting_item(farm: Farm, outlook: Outlook, review: tuple[ReviewItem, ...], since: datetime) -> TodayItem:
    """A vessel that was opened to fruit: of its growth nothing is asked any more, of what may be mould it is."""
    suspects = tuple(one for one in review if one.suspect is not None)
    marks = (*map(review_mark, suspects), f"fruits since {day_words(on_farm_clock(since, farm.zone))}")
    if suspects:
        return TodayItem("look", outlook, LOOK_FIRST, marks, suspects, marks[0])
    return TodayItem("fruiting", outlook, FRUITING_STEP, marks, ())


def _place(item: TodayItem, urgency: dict[str, int]) -> tuple[int, float, str]:
    """By section; in it by urgency of the review or by day; then by id."""
    median, vessel = item.outlook.ready.median, item.outlook.vessel.id
    day = float("inf") if median is None else median.timestamp()
    return SECTIONS.index(item.section), urgency[vessel] if item.section == "look" else day, vessel
