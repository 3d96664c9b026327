"""Today's list: what to look at first, what is ready, due or comes in the next days, and the rest."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from calibration import Use, vessel_uses
from farm.fruiting import FruitingLife, Stage, fruiting_lives
from farm.lists.marks import (
    TAKE_A_PHOTO,
    fruiting_mark,
    growth_marks,
    is_outdated,
    photo_mark,
    review_mark,
    source_mark,
)
from farm.outlook import Outlook
from farm.records import confirmed_stalls, contaminated_sources
from farm.review import ReviewItem, review_items
from farm.store import Farm

#: ready: due, and photographed since; due: forecast for a day that is past, and not photographed since, or not for
#: weeks.
#: fruiting: it fruits, and is not to be picked yet; harvest: it is to be picked by now, or to be noted as spent.
Section = Literal["look", "harvest", "ready", "due", "soon", "later", "unknown", "fruiting"]
SECTIONS: tuple[Section, ...] = ("look", "harvest", "ready", "due", "soon", "later", "unknown", "fruiting")

#: What to do next with a vessel that something is wrong with.
LOOK_FIRST = "look at it first"
#: With one that fruits, and with one of which all flushes that are usual were picked.
FRUITING_STEP = "harvest"
SPENT_STEP = "look for more, or note it as spent"
LATE_STEP = "note what was picked, or that it is spent"
#: And with one that has stalled, as a person confirmed.
STALLED_STEP = "discard it, or give it more time"
#: Stages of what is listed to be picked, in the order of the list.
_STAGES: tuple[Stage, ...] = ("due", "late", "past")


@dataclass(frozen=True)
class TodayItem:
    """One vessel on the list.

    action: what to do with it now, "" for nothing; next_step: what follows once it is ready. marks: short words, each
    with what to do; () is none. fruiting: its life since it fruits, None before. bad_source: the vessel above it in its
    line that was taken out as contaminated, "" for none.
    """

    section: Section
    outlook: Outlook
    next_step: str
    marks: tuple[str, ...]
    review: tuple[ReviewItem, ...]
    action: str = ""
    fruiting: FruitingLife | None = None
    bad_source: str = ""

    @property
    def day(self) -> datetime | None:
        """When it is ready; of what fruits, when it is to be picked; None where no day can be given."""
        return self.outlook.ready.median if self.fruiting is None else self.fruiting.due_at

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
    fruits = fruiting_lives(farm, [one.vessel for one in running if one.vessel.used_for == "fruiting"])
    rows = []
    for outlook in running:
        review = tuple(by_vessel.get(outlook.vessel.id, ()))
        if outlook.vessel.id in fruits:
            rows.append(_fruiting_item(farm, outlook, review, fruits[outlook.vessel.id]))
            continue
        given_up = outlook.vessel.id in stalls and outlook.forecast.status == "stalled"
        rows.append(_item(outlook, review, moment, ahead, given_up=given_up))
    spoiled = contaminated_sources(outlook.vessel for outlook in outlooks)
    rows = [_with_source(row, spoiled.get(row.outlook.vessel.id, "")) for row in rows]
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
        section = "due" if is_outdated(outlook, moment) else "ready"
    elif outlook.ready.median is None:
        section = "unknown"
    elif outlook.ready.median <= moment:
        section = "due"
    elif outlook.ready.median <= ahead:
        section = "soon"
    photo = photo_mark(outlook, moment)
    marks = [*map(review_mark, review), *(["do not use it until that is cleared"] if is_due and pressing else [])]
    marks += ["stalled, as you confirmed: throw it out, or wait"] if given_up and not pressing else []
    marks += [*filter(None, [photo]), *growth_marks(outlook, review)]
    if section in ("ready", "due", "soon") and outlook.vessel.use_is_assumed:
        marks.append(f"say what it is for: {outlook.vessel.use_in_words}")
    usual_step = vessel_uses()[outlook.vessel.used_for].next_step
    step = LOOK_FIRST if pressing else STALLED_STEP if given_up else usual_step
    action = marks[0] if pressing else step if section == "ready" or given_up else TAKE_A_PHOTO if photo else ""
    return TodayItem(section, outlook, step, tuple(dict.fromkeys(marks)), review, action)


def _with_source(item: TodayItem, source: str) -> TodayItem:
    """The item with a mark on the source that was contaminated."""
    if not source:
        return item
    return replace(item, bad_source=source, marks=(*item.marks, source_mark(source)))


def _fruiting_item(farm: Farm, outlook: Outlook, review: tuple[ReviewItem, ...], life: FruitingLife) -> TodayItem:
    """A vessel that fruits: of its growth nothing is asked any more, of what may be mould it is."""
    suspects = tuple(one for one in review if one.suspect is not None)
    marks = (*map(review_mark, suspects), fruiting_mark(life, farm.zone))
    if suspects:
        return TodayItem("look", outlook, LOOK_FIRST, marks, suspects, marks[0], life)
    if life.stage == "due":
        return TodayItem("harvest", outlook, FRUITING_STEP, marks, (), f"harvest flush {life.next_flush}", life)
    if life.stage in ("late", "past"):
        step = LATE_STEP if life.stage == "late" else SPENT_STEP
        return TodayItem("harvest", outlook, step, marks, (), step, life)
    return TodayItem("fruiting", outlook, FRUITING_STEP, marks, (), fruiting=life)


def _place(item: TodayItem, urgency: dict[str, int]) -> tuple[int, int, float, str]:
    """By section; what is to be picked before what is late or past; by urgency of the review or by day; then by id."""
    vessel = item.outlook.vessel.id
    day = float("inf") if item.day is None else item.day.timestamp()
    stage = _STAGES.index(item.fruiting.stage) if item.section == "harvest" and item.fruiting else 0
    return SECTIONS.index(item.section), stage, urgency[vessel] if item.section == "look" else day, vessel
