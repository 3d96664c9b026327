"""The top of the report: today's tasks, each in one line that unfolds to its vessels; and the weeks ahead."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration import USES
from farm.lists import SPENT_STEP, TAKE_A_PHOTO, DayAhead, Task, TodayItem, weeks_ahead
from farm.records import ids_in_short
from farm.store import Farm, on_farm_clock, span_words
from report.cards import Card, day_of
from report.grouped_list import ListGroup

_NBSP = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True)
class TaskLine:
    """A task. title: which vessels and where; action: "" where the heading says it; what: percent, day, species.

    small: a picture as data URI, or "". command: what notes that it was done, "" where nothing is ready.
    """

    title: str
    action: str
    what: str
    small: str
    command: str
    cards: tuple[Card, ...]


@dataclass(frozen=True)
class TaskSection:
    """A part of today's list under one heading. name: unique on the page; section: its key in ``farm.lists``.

    shown, folded: its tasks in order. note: what a section without shown tasks says of them, "" for nothing.
    """

    name: str
    section: str
    heading: str
    cards: tuple[Card, ...]
    shown: tuple[TaskLine, ...]
    folded: tuple[TaskLine, ...]
    note: str

    @property
    def n_folded(self) -> int:
        """Vessels in the folded tasks."""
        return sum(len(one.cards) for one in self.folded)


@dataclass(frozen=True)
class CalendarDay:
    """A day of the weeks ahead. lines: what becomes ready on it, such as "3 to fruit"."""

    day: str
    says: str
    lines: tuple[str, ...]
    is_past: bool
    is_today: bool


def task_section(farm: Farm, group: ListGroup, cards: Mapping[str, Card], n_shown: int) -> TaskSection:
    """A section of today's list. cards: by vessel id; n_shown: how many of its tasks are not folded."""
    lines = [_line(farm, task, cards) for task in group.tasks]
    return TaskSection(
        name=group.name,
        section=group.section,
        heading=group.heading,
        cards=tuple(cards[item.outlook.vessel.id] for item in group.items),
        shown=tuple(lines[:n_shown]),
        folded=tuple(lines[n_shown:]),
        note="" if n_shown else _note(farm, group),
    )


def _note(farm: Farm, group: ListGroup) -> str:
    """Of a folded section the first of its days, and how many want a photo."""
    photos = sum(item.action == TAKE_A_PHOTO for item in group.items)
    days = [item.day for item in group.items if item.day is not None]
    first = f"the first {day_of(min(days), farm)}" if days else ""
    return "; ".join(filter(None, (first, f"{photos} to photograph" if photos else "")))


def calendar_weeks(farm: Farm, items: Sequence[TodayItem]) -> list[list[CalendarDay]]:
    """The weeks ahead as texts, from Monday to Sunday."""
    return [[_day(day) for day in week] for week in weeks_ahead(farm, items)]


_SHORT = {"culture": "grain", "spawn": "spawn", "fruiting": "fruit"}


def _day(one: DayAhead) -> CalendarDay:
    lines = tuple(f"{one.ready[use]} {_SHORT[use]}" for use in USES if use in one.ready)
    lines += (f"{one.n_to_pick} pick",) if one.n_to_pick else ()
    first_or_today = one.is_today or one.day.day == 1
    return CalendarDay(
        day=f"{one.day.day} {one.day:%b}" if first_or_today else str(one.day.day),
        says=f"{one.day:%a} {one.day.day} {one.day:%b %Y}: {', '.join(lines) or 'none'}",
        lines=lines,
        is_past=one.is_past,
        is_today=one.is_today,
    )


def _line(farm: Farm, task: Task, cards: Mapping[str, Card]) -> TaskLine:
    mine = tuple(cards[item.outlook.vessel.id] for item in task.items)
    is_one = len(task.items) == 1
    title = task.name if is_one else f"{task.name}: {task.count}" if task.batch else f"{task.count}: {task.name}"
    where = f", shelf {task.shelf}" if task.shelf else ""
    kind = task.items[0].outlook.vessel.kind if is_one else ""
    # Above the others stands a heading that says what to do.
    said = task.section in ("look", "harvest", "soon", "later", "unknown")
    action = task.action if said else task.photo_first if task.section == "ready" else ""
    return TaskLine(
        title=title + where,
        action=action,
        what=", ".join(filter(None, (kind, _detail(farm, task), task.what))),
        small=next((card.small for card in mine if card.small), ""),
        command=_command(task),
        cards=mine,
    )


def _command(task: Task) -> str:
    """What notes that a task is done; "" where nothing is to be noted."""
    ids = ids_in_short(task.ids).replace(",", "")
    if task.action == SPENT_STEP:
        return f"spawnrun done {ids} --as spent"
    if task.section == "harvest":
        return f"spawnrun harvest {ids} --weight WEIGHT{' --each' * (len(task.ids) > 1)}"
    return f"spawnrun done {ids}" if task.section == "ready" else ""


def _detail(farm: Farm, task: Task) -> str:
    """How far colonised and when ready, such as "96 to 98 %, since 26 Mar"; of what fruits, how much was picked."""
    percent = ""
    if picked_kg := sum(item.fruiting.fresh_kg for item in task.items if item.fruiting):
        percent = f"{farm.units.weight(picked_kg)} picked so far"
    elif task.percent is not None:
        low, high = (round(one) for one in task.percent)
        percent = f"{low}{_NBSP}%" if low == high else f"{low} to {high}{_NBSP}%"
    if task.ready is None or task.section == "look":
        return percent
    first, last = (on_farm_clock(one, farm.zone) for one in task.ready)
    year = on_farm_clock(farm.now, farm.zone).year
    if task.section in ("ready", "harvest"):
        days = f"since {span_words(first, first, year).split(' to ')[0]}"
    else:
        days = day_of(task.ready[0], farm) if first.date() == last.date() else span_words(first, last, year)
    return ", ".join(filter(None, (percent, days)))
