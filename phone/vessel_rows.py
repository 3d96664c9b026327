"""A vessel as a row of the phone's lists: what is to be done with it, and the buttons that note it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from calibration import species_name
from farm.fruiting import FruitingLife
from farm.lists import PhotoReason, TodayItem, photo_reason
from farm.outlook import Outlook
from farm.records import STEP_OF_USE
from farm.records.models import Vessel, means_contamination
from farm.review import ReviewItem
from farm.store import Farm, calendar_days, on_farm_clock
from phone.words import Words

#: Ticks that any running vessel may need, beside the one that the list asks for.
_OTHERS = ("shaken", "moved", "opened", "thrown_out")
#: And one that fruits.
_FRUITING = ("harvested", "pins", "spent", "moved", "thrown_out")

#: Up to so many vessels stand in one list; of more, each shelf is a row that opens; the others are found by their id.
_FEW_LISTED, _MOST_LISTED = 24, 1000


@dataclass(frozen=True)
class Tick:
    """A button: what it notes, and what it says."""

    what: str
    says: str


@dataclass(frozen=True)
class VesselRow:
    """A vessel on the list. picture: address of its newest face, "" without one; fill: percent as 0-100, None unread.

    todo: what is to be done now; kind: look, step, fruit, photo or rest; tick: the button for it, None where it is to
    be judged or photographed first.
    """

    id: str
    facts: str
    picture: str
    fill: float | None
    percent: str
    kind: str
    todo: str
    marks: tuple[str, ...]
    tick: Tick | None
    others: tuple[Tick, ...]


@dataclass(frozen=True)
class VesselList:
    """Vessels to look one up. rows: of few; shelves: of many, by name of the shelf; n_others: found by id alone."""

    rows: tuple[VesselRow, ...]
    shelves: tuple[tuple[str, tuple[VesselRow, ...]], ...]
    n_others: int


def vessel_row(farm: Farm, words: Words, item: TodayItem) -> VesselRow:
    """A vessel of the list."""
    outlook, vessel = item.outlook, item.outlook.vessel
    kind, todo = _todo(farm, words, item)
    step = _step_of(item)
    tick = _tick(words, item, step) if kind in ("step", "fruit") else None
    percent = None if outlook.last is None else outlook.last.percent
    return VesselRow(
        id=vessel.id,
        facts=vessel_facts(words, vessel),
        picture=newest_picture(outlook),
        fill=percent,
        percent=words("percent_unknown") if percent is None else words("percent", percent=f"{percent:.0f}"),
        kind=kind,
        todo=todo,
        marks=tuple(_marks(farm, words, item)),
        tick=tick,
        others=tuple(_tick(words, item, one) for one in _others(item, step, tick)),
    )


def vessel_list(farm: Farm, words: Words, items: Sequence[TodayItem]) -> VesselList:
    """The vessels of today's list to look one up: few in the order of the list, many shelf by shelf."""
    if len(items) <= _FEW_LISTED:
        return VesselList(tuple(vessel_row(farm, words, item) for item in items), (), 0)
    shelves: dict[str, list[VesselRow]] = {}
    for item in sorted(items, key=_place)[:_MOST_LISTED]:
        shelves.setdefault(item.outlook.vessel.shelf, []).append(vessel_row(farm, words, item))
    by_name = tuple((name, tuple(rows)) for name, rows in shelves.items())
    return VesselList((), by_name, max(0, len(items) - _MOST_LISTED))


def _place(item: TodayItem) -> tuple[bool, str, str]:
    """Shelves by name, vessels of none last, on each by id: as one walks along them."""
    vessel = item.outlook.vessel
    return not vessel.shelf, vessel.shelf, vessel.id


def vessel_facts(words: Words, vessel: Vessel) -> str:
    """Kind, species and substrate in a line."""
    return ", ".join(filter(None, (words.known("kind", vessel.kind), species_name(vessel.species), vessel.substrate)))


def newest_picture(outlook: Outlook) -> str:
    """Address of the newest face, small, also of a photo that only shows a suspect; "" where none is kept."""
    shown = [outlook.last] if outlook.last is not None else []
    shown += [one.last.reading for one in outlook.seen.suspects if one.last.reading.status != "ok"]
    newest = max((one for one in shown if one.has_face), key=lambda one: one.taken_at, default=None)
    return "" if newest is None else f"/picture/small/{newest.key}.jpg"


def review_words(words: Words, item: ReviewItem) -> str:
    """What something up for review is, in a few words."""
    return words.known("subject", item.subject)


def _todo(farm: Farm, words: Words, item: TodayItem) -> tuple[str, str]:
    """The kind of what is to be done, and what it is in words."""
    reason = _photo_reason(farm, item)
    if item.section == "look":
        what = "; ".join(dict.fromkeys(review_words(words, one) for one in item.review if one.holds_back))
        return "look", words("todo.look", what=what or words("todo.something"))
    if item.fruiting is not None:
        return _todo_fruiting(farm, words, item, item.fruiting)
    if item.section == "ready":
        return "step", words(f"todo.step.{item.used_for}")
    if _is_given_up(item):
        return "step", words("todo.stalled")
    if reason:
        last = item.outlook.refused if reason == "refused" else item.outlook.last
        return "photo", words(f"todo.photo.{reason}", day="" if last is None else _short(farm, words, last.taken_at))
    median = item.outlook.ready.median
    if item.outlook.forecast.status == "colonised":
        return "rest", words("todo.rest")
    return "rest", words("todo.ready_on", day=_short(farm, words, median)) if median else words("todo.no_day")


def _photo_reason(farm: Farm, item: TodayItem) -> PhotoReason:
    """Why it is to be photographed; of what fruits no photo is asked for."""
    return photo_reason(item.outlook, farm.now) if item.fruiting is None else ""


def _todo_fruiting(farm: Farm, words: Words, item: TodayItem, life: FruitingLife) -> tuple[str, str]:
    if item.section == "harvest":
        return "fruit", words(f"todo.fruit.{life.stage}", flush=life.next_flush)
    day = "" if life.due_at is None else words("todo.pick_on", day=_short(farm, words, life.due_at))
    return "rest", " ".join(filter(None, (words(f"todo.fruit.{life.stage}", flush=life.next_flush), day)))


def _short(farm: Farm, words: Words, moment: datetime) -> str:
    return words.short_day(on_farm_clock(moment, farm.zone))


def _is_given_up(item: TodayItem) -> bool:
    """Whether it has stalled, as a person confirmed: to be thrown out, or given time."""
    return bool(item.action) and item.outlook.forecast.status == "stalled" and item.section != "look"


def _step_of(item: TodayItem) -> str:
    """The tick of what is to be done."""
    if item.fruiting is not None:
        return "spent" if item.fruiting.stage == "past" else "harvested"
    return "thrown_out" if _is_given_up(item) else STEP_OF_USE[item.used_for]


def _tick(words: Words, item: TodayItem, what: str) -> Tick:
    is_opened_only = what == "opened" and item.used_for != "fruiting"
    return Tick(what, words.known("tick", "opened_only" if is_opened_only else what))


def _others(item: TodayItem, step: str, tick: Tick | None) -> tuple[str, ...]:
    """The other ticks; a step that is not due yet is among them, for who does it early."""
    usual = _OTHERS if item.fruiting is None else _FRUITING
    return tuple(one for one in dict.fromkeys((step, *usual)) if tick is None or one != tick.what)


def _marks(farm: Farm, words: Words, item: TodayItem) -> list[str]:
    outlook = item.outlook
    marks = []
    if any(one.holds_back and means_contamination(one.subject) for one in item.review):
        marks.append(words("mark.closed"))
    if item.bad_source:
        marks.append(words("mark.source", source=item.bad_source))
    if any(one.watched for one in item.review):
        marks.append(words("mark.watched"))
    if outlook.forecast.days_behind is not None:
        marks.append(words("mark.behind", round(outlook.forecast.days_behind)))
    if item.section in ("ready", "due", "soon") and outlook.vessel.use_is_assumed:
        marks.append(words("mark.use_assumed", use=words.known("use", outlook.vessel.used_for)))
    if outlook.last is not None and item.section in ("look", "ready"):
        age = calendar_days(outlook.last.taken_at, farm.now, farm.zone)
        marks += [words("mark.photo_age", age)] if age > 1 else []
        marks += [words("mark.photo_first")] if item.section == "ready" and _photo_reason(farm, item) else []
    return marks
