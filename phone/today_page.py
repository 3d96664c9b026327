"""Today's list, shelf by shelf: what is to be done with each vessel, and the buttons that note it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from urllib.parse import quote

from farm.fruiting import list_harvests
from farm.lists import TAKE_A_PHOTO, TodayItem, day_counts
from farm.records import events_between, ids_in_short
from farm.records.models import Event, means_contamination
from farm.store import Farm, on_farm_clock, to_instant
from phone.farm_state import Shown
from phone.vessel_rows import Tick, VesselRow, review_words, vessel_row
from phone.words import Words

#: So many vessels and more of a shelf that ask for the same are one group, which unfolds.
_WORTH_A_GROUP = 3
#: So many vessels of a group are shown, the others when these are done; and of those of a shelf with nothing to do so
#: many, the others under Vessels.
MOST_ROWS, MOST_RESTING = 80, 60
#: With up to so many shelves and tasks every shelf is open: that fits on three screens. With more, only the first is.
_FEW = 6
#: Shelves with work that have rows of their own, for three screens; the others are one row till these are done.
_MOST_SHELVES = 24
#: Shelves that are named with what is looked at first; the page to judge on has all.
_MOST_PLACES = 8


@dataclass(frozen=True)
class RowGroup:
    """Vessels of a shelf that ask for the same. ids: in short; vessels: the same, apart by spaces.

    caution: what is not hidden in the fold, "" for none. rows: at most MOST_ROWS of the n; tick: the button that notes
    it for all, None where each is looked at or weighed.
    """

    kind: str
    todo: str
    n: int
    ids: str
    vessels: str
    tick: Tick | None
    caution: str
    rows: tuple[VesselRow, ...]


@dataclass(frozen=True)
class ShelfRows:
    """A shelf. rows: vessels with something to do, most pressing first; groups: where several ask for the same.

    counts: how many vessels to look at, to pick, ready, stopped, to photograph, without those of which there are none.
    n_photos, photos: how many want one, and their ids in short; resting: those with nothing to do. Of both at most
    MOST_RESTING are shown as rows.
    """

    name: str
    counts: tuple[tuple[str, int], ...]
    rows: tuple[VesselRow, ...]
    groups: tuple[RowGroup, ...]
    n_photos: int
    photos: str
    photo_rows: tuple[VesselRow, ...]
    resting: tuple[VesselRow, ...]
    n_resting: int

    @property
    def anchor(self) -> str:
        """Its id on the page, without spaces."""
        return f"on-{quote(self.name)}"


@dataclass(frozen=True)
class LookFirst:
    """What is looked at before anything else. caution: "" for none.

    places: shelf, and the ids on it in short; of at most _MOST_PLACES shelves, n_more vessels stand on others.
    """

    n: int
    what: str
    caution: str
    places: tuple[tuple[str, str], ...]
    n_more: int


@dataclass(frozen=True)
class DoneToday:
    """Something that was noted today. undo: fields of the form that takes it back."""

    text: str
    undo: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class TodayPage:
    """Today's list. counts: how many vessels to look at, ready, to photograph; to pick, given up if any.

    look: None where nothing is looked at first. is_short: there is so little to do that no shelf is folded.
    shelves: the first _MOST_SHELVES with something to do; more: the others of those, more_counts: what is to be done on
    them; idle: those with nothing to do. is_pending: the forecasts are still being made. unit: of weights.
    """

    as_of: str
    counts: tuple[tuple[str, int], ...]
    look: LookFirst | None
    is_short: bool
    shelves: tuple[ShelfRows, ...]
    more: tuple[ShelfRows, ...]
    more_counts: tuple[tuple[str, int], ...]
    idle: tuple[ShelfRows, ...]
    is_pending: bool
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
    counts = _counts(shown.items)
    at_work = tuple(one for one in shelves if _has_work(one))
    more = at_work[_MOST_SHELVES:]
    on_more = _counts([item for one in more for item in by_shelf[one.name]])
    return TodayPage(
        as_of=words.time(on_farm_clock(farm.now, farm.zone)),
        counts=tuple((name, n) for name, n in counts.items() if n or name in ("look", "step", "photo")),
        look=_look_first(words, shown.items),
        is_short=max(len(at_work), sum(len(one.rows) + len(one.groups) for one in at_work)) <= _FEW,
        shelves=at_work[:_MOST_SHELVES],
        more=more,
        more_counts=tuple((name, n) for name, n in on_more.items() if n),
        idle=tuple(one for one in shelves if not _has_work(one)),
        is_pending=shown.is_pending,
        shelf_names=shelf_names(shown),
        unit=farm.units.weights,
        done=tuple(_done_today(farm, words, shown)),
    )


def shelf_names(shown: Shown) -> tuple[str, ...]:
    """The shelves on which running vessels stand."""
    return tuple(sorted({item.outlook.vessel.shelf for item in shown.items} - {""}))


def _counts(items: Sequence[TodayItem]) -> dict[str, int]:
    """What is to be done, by name."""
    counted = day_counts(items)
    first = {"look": counted.look, "pick": counted.pick, "step": counted.ready}
    return first | {"photo": counted.photo, "give_up": counted.give_up}


def _look_first(words: Words, items: Sequence[TodayItem]) -> LookFirst | None:
    """All that is looked at first, whatever shelf it stands on; its vessels also stand on their shelves."""
    looks = [item for item in items if item.section == "look"]
    if not looks:
        return None
    held = [one for item in looks for one in item.review if one.holds_back]
    places: dict[str, list[str]] = {}
    for item in sorted(looks, key=lambda one: one.outlook.vessel.shelf):
        places.setdefault(item.outlook.vessel.shelf, []).append(item.outlook.vessel.id)
    named = list(places.items())[:_MOST_PLACES]
    is_closed = any(means_contamination(one.subject) for one in held)
    return LookFirst(
        n=len(looks),
        what=", ".join(dict.fromkeys(review_words(words, one) for one in held)) or words("todo.something"),
        caution=words("mark.closed") if is_closed else "",
        places=tuple((shelf, ids_in_short(ids)) for shelf, ids in named),
        n_more=len(looks) - sum(len(ids) for _, ids in named),
    )


def _has_work(shelf: ShelfRows) -> bool:
    return bool(shelf.counts or shelf.rows or shelf.groups or shelf.n_photos)


def _shelf(farm: Farm, words: Words, name: str, items: Sequence[TodayItem]) -> ShelfRows:
    rows = [vessel_row(farm, words, item) for item in items]
    photos = [item.outlook.vessel.id for item in items if item.action == TAKE_A_PHOTO]
    todo = [row for row in rows if row.kind in ("look", "step", "fruit")]
    single, groups = _grouped(todo, words("mark.closed"))
    resting = [row for row in rows if row.kind == "rest"]
    return ShelfRows(
        name=name,
        counts=tuple((what, n) for what, n in _counts(items).items() if n),
        rows=tuple(single),
        groups=tuple(groups),
        n_photos=len(photos),
        photos=ids_in_short(photos),
        photo_rows=tuple([row for row in rows if row.kind == "photo"][:MOST_RESTING]),
        resting=tuple(resting[:MOST_RESTING]),
        n_resting=len(resting),
    )


def _grouped(rows: Sequence[VesselRow], caution: str) -> tuple[list[VesselRow], list[RowGroup]]:
    """The rows that stand by themselves, and the groups of _WORTH_A_GROUP and more that ask for the same."""
    alike: dict[tuple[str, str, Tick | None], list[VesselRow]] = {}
    for row in rows:
        alike.setdefault((row.kind, row.kind if row.kind == "look" else row.todo, row.tick), []).append(row)
    several = {key: mine for key, mine in alike.items() if len(mine) >= _WORTH_A_GROUP}
    grouped = {row.id for mine in several.values() for row in mine}
    return [row for row in rows if row.id not in grouped], [_group(mine, caution) for mine in several.values()]


def _group(rows: Sequence[VesselRow], caution: str) -> RowGroup:
    """Throwing out is done one by one, and what is picked is weighed."""
    ids, tick = [row.id for row in rows], rows[0].tick
    together = rows[0].kind == "step" and tick is not None and tick.what != "thrown_out"
    todo = "; ".join(dict.fromkeys(row.todo for row in rows))
    return RowGroup(
        rows[0].kind,
        todo,
        len(rows),
        ids_in_short(ids),
        " ".join(ids),
        tick if together else None,
        caution if any(caution in row.marks for row in rows) else "",
        tuple(rows[:MOST_ROWS]),
    )


def _done_today(farm: Farm, words: Words, shown: Shown) -> list[DoneToday]:
    """What was noted today, the newest first, in one line what was noted together.

    A move is not taken back from here: the shelf before is not kept.
    """
    midnight = on_farm_clock(farm.now, farm.zone).replace(hour=0, minute=0, second=0, microsecond=0)
    begin, end = (to_instant(one, farm.zone) for one in (midnight, midnight + timedelta(days=1)))
    noted = [one for one in events_between(farm, begin, end) if words.has(f"done.{one.event}")]
    noted += [Event(one.vessel, "harvested", one.at) for one in list_harvests(farm) if begin <= one.at < end]
    together: dict[tuple[datetime, str, str], list[str]] = {}
    for one in sorted(noted, key=lambda one: (one.at, one.vessel), reverse=True):
        what = words.done(one.event, _use_of(shown, one.vessel))
        together.setdefault((one.at, one.event, what), []).append(one.vessel)
    return [
        DoneToday(
            words("told.done", vessels=ids_in_short(ids), what=what),
            () if event == "moved" else (("vessels", " ".join(ids)), ("what", event), ("at", at.isoformat())),
        )
        for (at, event, what), ids in together.items()
    ]


def _use_of(shown: Shown, vessel: str) -> str:
    outlook = shown.outlooks.get(vessel)
    return "" if outlook is None else outlook.vessel.used_for
