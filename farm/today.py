"""Today's list: what to look at first, what is ready, what comes in the next days, and the rest."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from calibration import vessel_kinds
from farm.clock import days_between
from farm.outlook import Outlook
from farm.reviews import DROP, STALL, ReviewItem
from farm.store import Farm

Section = Literal["look", "ready", "soon", "later", "unknown"]
SECTIONS: tuple[Section, ...] = ("look", "ready", "soon", "later", "unknown")

#: A newest photo older than this is told: the list then speaks of a shelf nobody has seen for a while, days.
STALE_PHOTO_DAYS = 4.0


@dataclass(frozen=True)
class TodayItem:
    """One vessel on the list. Marks are short words, each a thing to know before acting; () is none."""

    section: Section
    outlook: Outlook
    next_step: str
    marks: tuple[str, ...]
    review: tuple[ReviewItem, ...]


def today_list(
    farm: Farm, outlooks: Sequence[Outlook], items: Sequence[ReviewItem], *, days: int | None = None
) -> list[TodayItem]:
    """Running vessels by section, each section by day. days ahead None means the farm's setting.

    A vessel with an open suspect stands under "look", never among the ready ones.
    """
    moment = farm.now
    ahead = moment + timedelta(days=farm.settings.days_ahead if days is None else days)
    rows = []
    for outlook in outlooks:
        if outlook.vessel.state == "running":
            mine = tuple(item for item in items if item.vessel == outlook.vessel.id)
            rows.append(_item(outlook, mine, moment, ahead))
    return sorted(rows, key=_place)


def _item(outlook: Outlook, review: tuple[ReviewItem, ...], moment: datetime, ahead: datetime) -> TodayItem:
    is_ready = _is_ready(outlook, moment)
    section: Section = "later"
    if review:
        section = "look"
    elif is_ready:
        section = "ready"
    elif outlook.ready.median is None:
        section = "unknown"
    elif outlook.ready.median <= ahead:
        section = "soon"
    step = vessel_kinds()[outlook.vessel.kind].next_step
    return TodayItem(section, outlook, step, _marks(outlook, review, moment, is_ready=is_ready), review)


def _is_ready(outlook: Outlook, moment: datetime) -> bool:
    return outlook.forecast.status == "ready" or (
        outlook.ready.median is not None and outlook.ready.median <= moment and outlook.forecast.status != "stalled"
    )


def _marks(outlook: Outlook, review: tuple[ReviewItem, ...], moment: datetime, *, is_ready: bool) -> tuple[str, ...]:
    marks = []
    for item in review:
        word = {STALL: "stalled", DROP: "percent fell: shaken?"}.get(item.subject, f"suspect: {item.subject}")
        marks.append(f"{word} (watched)" if item.watched else word)
    if review and is_ready:
        marks.append("not ready until cleared")
    if outlook.forecast.status == "colonised" and not is_ready:
        marks.append("resting")
    if outlook.last is None:
        marks.append("no reading yet")
    elif (age := days_between(outlook.last.taken_at, moment)) > STALE_PHOTO_DAYS:
        marks.append(f"last photo {age:.0f} days old")
    return tuple(marks)


def _place(item: TodayItem) -> tuple[int, float, str]:
    median = item.outlook.ready.median
    urgency = 0.0 if item.section == "look" else (median.timestamp() if median else float("inf"))
    return SECTIONS.index(item.section), urgency, item.outlook.vessel.id
