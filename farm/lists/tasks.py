"""Today's list in few lines: vessels of one batch on one shelf with which the same is to be done are one task."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from calibration import Use, species_name
from farm.lists.marks import TAKE_A_PHOTO
from farm.lists.today import Section, TodayItem
from farm.records import ids_in_short

_MOST_NAMED = 2


@dataclass(frozen=True)
class Task:
    """Vessels of a section, use, batch and shelf with the same action ("" for none), in the order of the list."""

    section: Section
    used_for: Use
    action: str
    batch: str
    shelf: str
    items: tuple[TodayItem, ...]

    @property
    def ids(self) -> tuple[str, ...]:
        """Its vessels, by id."""
        return tuple(sorted(item.outlook.vessel.id for item in self.items))

    @property
    def name(self) -> str:
        """What it is called: the only vessel's id, else its batch, else its vessels in short."""
        return self.ids[0] if len(self.items) == 1 else self.batch or ids_in_short(self.ids)

    @property
    def count(self) -> str:
        """How many of which kind, such as "3 jars"; kinds that differ are "vessels"."""
        kinds = {item.outlook.vessel.kind for item in self.items}
        kind = kinds.pop() if len(kinds) == 1 else "vessel"
        return f"{len(self.items)} {kind}{'s' * (len(self.items) != 1)}"

    @property
    def what(self) -> str:
        """Species and substrate, such as "oyster on rye grain"; of more than two the most frequent two and "others"."""
        vessels = [item.outlook.vessel for item in self.items]
        counted = Counter(" on ".join(filter(None, (species_name(one.species), one.substrate))) for one in vessels)
        named = [words for words, _ in counted.most_common() if words]
        return ", ".join(named if len(named) <= _MOST_NAMED else [*named[:_MOST_NAMED], "others"])

    @property
    def percent(self) -> tuple[float, float] | None:
        """Lowest and highest of the newest readings; None without any, and of what fruits."""
        if any(item.fruiting is not None for item in self.items):
            return None
        seen = [one.percent for item in self.items if (one := item.outlook.last) and one.percent is not None]
        return (min(seen), max(seen)) if seen else None

    @property
    def photo_first(self) -> str:
        """That vessels that are ready want a photo first, such as "3 of them: take a photo first"; "" for none."""
        wanting = [one for one in self.items if one.section == "ready" and _wants_photo(one)]
        first = f"{TAKE_A_PHOTO} first" if wanting else ""
        return first if len(wanting) in (0, len(self.items)) else f"{len(wanting)} of them: {first}"

    @property
    def ready(self) -> tuple[datetime, datetime] | None:
        """The first and the last of their days of readiness, or of what fruits of picking; None without any."""
        days = [item.day for item in self.items if item.day is not None]
        return (min(days), max(days)) if days else None


def _wants_photo(item: TodayItem) -> bool:
    return any(mark.startswith(TAKE_A_PHOTO) for mark in item.marks)


def tasks_of(items: Sequence[TodayItem]) -> list[Task]:
    """The items as tasks; a task stands where the first of its vessels stands on the list.

    What is ready is told apart by what it is for. Photos are taken shelf by shelf, whatever the batch.
    """
    found: dict[tuple[Section, Use | None, str, str, str], list[TodayItem]] = {}
    for item in items:
        vessel = item.outlook.vessel
        use = item.used_for if item.section == "ready" else None
        batch = "" if item.action == TAKE_A_PHOTO else vessel.batch
        found.setdefault((item.section, use, item.action, batch, vessel.shelf), []).append(item)
    return [
        Task(section, mine[0].used_for, action, batch, shelf, tuple(mine))
        for (section, _, action, batch, shelf), mine in found.items()
    ]


def tasks_by_shelf(items: Sequence[TodayItem]) -> dict[str, list[Task]]:
    """The tasks of the items with something to do, by shelf; those of no shelf last, photos last on each shelf."""
    photos = [item for item in items if item.action == TAKE_A_PHOTO]
    others = [item for item in items if item.action not in ("", TAKE_A_PHOTO)]
    shelves: dict[str, list[Task]] = {}
    for task in (*tasks_of(others), *tasks_of([replace(item, section="due") for item in photos])):
        shelves.setdefault(task.shelf, []).append(task)
    return dict(sorted(shelves.items(), key=lambda one: (not one[0], one[0])))
