"""Today's list under its headings: what is ready is told apart by what it is for."""

from collections.abc import Sequence
from dataclasses import dataclass

from calibration import USES, Use, vessel_uses
from farm.lists import SECTIONS, TAKE_A_PHOTO, Section, Task, TodayItem, tasks_of
from report.cautions import SECTION_HEADINGS

#: Headings of what is ready, by its use: "Ready to fruit" and the like.
READY_HEADINGS: dict[Use, str] = {
    name: f"{one.ready[:1].upper()}{one.ready[1:]}" for name, one in vessel_uses().items()
}
#: Most tasks under a heading that are shown at once, so that any list fits a few screens; the rest is unfolded. Of
#: sections where nothing is usually to be done (0) the heading alone, with the tasks that ask for more than a photo.
MOST_SHOWN: dict[Section, int] = {
    "look": 6,
    "harvest": 5,
    "ready": 5,
    "due": 3,
    "soon": 3,
    "later": 0,
    "unknown": 0,
    "fruiting": 0,
}
#: Of a section of which else the heading alone is shown.
_MOST_STEPS = 4


@dataclass(frozen=True)
class ListGroup:
    """Items of today's list under one heading, and the tasks that they are.

    name: unique on the list; section: where they stand in it.
    """

    name: str
    section: Section
    heading: str
    items: tuple[TodayItem, ...]

    @property
    def tasks(self) -> list[Task]:
        """The items as tasks; where few are shown at once, those with something to do but a photo first."""
        tasks = tasks_of(self.items)
        return tasks if MOST_SHOWN[self.section] else sorted(tasks, key=lambda one: not _is_step(one))

    @property
    def n_shown(self) -> int:
        """How many of the tasks are shown at once; one that would be left alone is shown too."""
        most = MOST_SHOWN[self.section]
        if not most:
            return min(sum(map(_is_step, self.tasks)), _MOST_STEPS)
        return most + 1 if len(self.tasks) == most + 1 else most


def lines_shown(groups: Sequence[ListGroup], most: int) -> list[int]:
    """How many tasks of each group are shown at once: at most its ``n_shown``, of all groups together at most ``most``.

    Each group gets a line in turn, so that none with something to do is left out; what is not ready yet gets what is
    left. most: lines that a page has room for.
    """
    shown = [0] * len(groups)
    for is_soon in (False, True):
        while sum(shown) < most and (
            wanting := [
                at
                for at, one in enumerate(groups)
                if (one.section == "soon") is is_soon and shown[at] < min(one.n_shown, len(one.tasks))
            ]
        ):
            for at in wanting[: most - sum(shown)]:
                shown[at] += 1
    return shown


def _is_step(task: Task) -> bool:
    """Whether something is to be done with it other than to take a photo."""
    return task.action not in ("", TAKE_A_PHOTO)


def heading_of(item: TodayItem, days: int) -> str:
    """The heading that an item stands under. days: how far ahead the list looks."""
    return (
        READY_HEADINGS[item.used_for] if item.section == "ready" else SECTION_HEADINGS[item.section].format(days=days)
    )


def list_groups(items: Sequence[TodayItem], days: int) -> list[ListGroup]:
    """The items by section, and in the section "ready" by use; sections without items too, in the order of the list."""
    groups: list[ListGroup] = []
    for section in SECTIONS:
        mine = [item for item in items if item.section == section]
        uses = [use for use in USES if any(item.used_for == use for item in mine)] if section == "ready" else []
        for use in uses:
            ready = tuple(item for item in mine if item.used_for == use)
            groups.append(ListGroup(f"{section}-{use}", section, READY_HEADINGS[use], ready))
        if not uses:
            groups.append(ListGroup(section, section, SECTION_HEADINGS[section].format(days=days), tuple(mine)))
    return groups
