"""Today's list, shelf by shelf: what is to be done with each vessel, and the buttons that note it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from calibration import species_name
from farm.fruiting import FruitingLife, list_harvests
from farm.lists import TAKE_A_PHOTO, PhotoReason, TodayItem, day_counts, photo_reason
from farm.outlook import Outlook
from farm.records import STEP_OF_USE, events_between, ids_in_short
from farm.records.models import Event, Vessel, means_contamination
from farm.review import ReviewItem
from farm.store import Farm, calendar_days, on_farm_clock, to_instant
from phone.farm_state import Shown
from phone.words import Words

#: Ticks that any running vessel may need, beside the one that the list asks for.
_OTHERS = ("shaken", "moved", "opened", "thrown_out")
#: So many vessels of a shelf are shown that have something to do, the others when these are done; and of those with
#: nothing to do so many, the others under Vessels.
MOST_ROWS, MOST_RESTING = 80, 60
#: And one that fruits.
_FRUITING = ("harvested", "pins", "spent", "moved", "thrown_out")


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
class Together:
    """One tick for several vessels. vessels: their ids, apart by spaces."""

    vessels: str
    n: int
    tick: Tick


@dataclass(frozen=True)
class ShelfRows:
    """A shelf. rows: vessels with something to do, most pressing first, at most MOST_ROWS of the n_rows.

    together: ticks for several of them.

    n_photos, photos: how many want one, and their ids in short; resting: the others, at most MOST_RESTING of the
    n_resting.
    """

    name: str
    rows: tuple[VesselRow, ...]
    n_rows: int
    together: tuple[Together, ...]
    n_photos: int
    photos: str
    resting: tuple[VesselRow, ...]
    n_resting: int


@dataclass(frozen=True)
class DoneToday:
    """Something that was noted today. undo: fields of the form that takes it back."""

    text: str
    undo: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class TodayPage:
    """Today's list. counts: how many vessels to look at, ready, to photograph; to pick, given up if any. unit: of
    weights.
    """

    as_of: str
    counts: tuple[tuple[str, int], ...]
    shelves: tuple[ShelfRows, ...]
    shelf_names: tuple[str, ...]
    unit: str
    done: tuple[DoneToday, ...]


def today_page(farm: Farm, words: Words, shown: Shown) -> TodayPage:
    """The facts of the page."""
    by_shelf: dict[str, list[TodayItem]] = {}
    for item in shown.items:
        by_shelf.setdefault(item.outlook.vessel.shelf, []).append(item)
    shelves = tuple(
        _shelf(farm, words, name, items)
        for name, items in sorted(by_shelf.items(), key=lambda one: (not one[0], one[0]))
    )
    counted = day_counts(shown.items)
    counts = {"look": counted.look, "pick": counted.pick, "step": counted.ready, "photo": counted.photo}
    counts |= {"give_up": counted.give_up}
    return TodayPage(
        as_of=words.time(on_farm_clock(farm.now, farm.zone)),
        counts=tuple((name, n) for name, n in counts.items() if n or name in ("look", "step", "photo")),
        shelves=shelves,
        shelf_names=shelf_names(shown),
        unit=farm.units.weights,
        done=tuple(_done_today(farm, words, shown)),
    )


def shelf_names(shown: Shown) -> tuple[str, ...]:
    """The shelves on which running vessels stand."""
    return tuple(sorted({item.outlook.vessel.shelf for item in shown.items} - {""}))


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


def vessel_facts(words: Words, vessel: Vessel) -> str:
    """Kind, species and substrate in a line."""
    return ", ".join(filter(None, (words.known("kind", vessel.kind), species_name(vessel.species), vessel.substrate)))


def newest_picture(outlook: Outlook) -> str:
    """Address of the newest face, small; "" where none is kept."""
    last = outlook.last
    return f"/picture/small/{last.key}.jpg" if last is not None and last.has_face else ""


def review_words(words: Words, item: ReviewItem) -> str:
    """What something up for review is, in a few words."""
    return words.known("subject", item.subject)


def _shelf(farm: Farm, words: Words, name: str, items: Sequence[TodayItem]) -> ShelfRows:
    rows = [vessel_row(farm, words, item) for item in items]
    photos = [item.outlook.vessel.id for item in items if item.action == TAKE_A_PHOTO]
    todo = [row for row in rows if row.kind in ("look", "step", "fruit")]
    resting = [row for row in rows if row.kind in ("photo", "rest")]
    return ShelfRows(
        name=name,
        rows=tuple(todo[:MOST_ROWS]),
        n_rows=len(todo),
        together=tuple(_together([row for row in rows if row.kind == "step"])),
        n_photos=len(photos),
        photos=ids_in_short(photos),
        resting=tuple(resting[:MOST_RESTING]),
        n_resting=len(resting),
    )


def _together(rows: Sequence[VesselRow]) -> Iterator[Together]:
    """A tick for all vessels of a shelf with which the same is to be done; throwing out is done one by one."""
    by_tick: dict[Tick, list[str]] = {}
    for row in rows:
        if row.tick is not None and row.tick.what != "thrown_out":
            by_tick.setdefault(row.tick, []).append(row.id)
    for tick, ids in by_tick.items():
        if len(ids) > 1:
            yield Together(" ".join(ids), len(ids), tick)


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
        last = item.outlook.last
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


def _done_today(farm: Farm, words: Words, shown: Shown) -> list[DoneToday]:
    """What was noted today, the newest first. A move is not taken back from here: the shelf before is not kept."""
    midnight = on_farm_clock(farm.now, farm.zone).replace(hour=0, minute=0, second=0, microsecond=0)
    begin, end = (to_instant(one, farm.zone) for one in (midnight, midnight + timedelta(days=1)))
    noted = [one for one in events_between(farm, begin, end) if words.has(f"done.{one.event}")]
    noted += [Event(one.vessel, "harvested", one.at) for one in list_harvests(farm) if begin <= one.at < end]
    return [
        DoneToday(
            words("told.done", vessels=one.vessel, what=words.done(one.event, _use_of(shown, one.vessel))),
            () if one.event == "moved" else (("vessels", one.vessel), ("what", one.event), ("at", one.at.isoformat())),
        )
        for one in sorted(noted, key=lambda one: (one.at, one.vessel), reverse=True)
    ]


def _use_of(shown: Shown, vessel: str) -> str:
    outlook = shown.outlooks.get(vessel)
    return "" if outlook is None else outlook.vessel.used_for
