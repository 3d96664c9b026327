"""How many vessels of today's list ask for what, so that every screen says the same numbers."""

from collections.abc import Sequence
from dataclasses import dataclass

from farm.lists.marks import TAKE_A_PHOTO
from farm.lists.today import TodayItem


@dataclass(frozen=True)
class DayCounts:
    """Vessels by what is to be done with them today, each counted once.

    look: to look at first; pick: to be picked; ready: for the next step; give_up: stopped, as a person confirmed;
    photo: nothing to be done but to photograph them.
    """

    look: int
    pick: int
    ready: int
    give_up: int
    photo: int


def day_counts(items: Sequence[TodayItem]) -> DayCounts:
    """The numbers of today's list."""
    sections = [item.section for item in items]
    photos = sum(item.action == TAKE_A_PHOTO for item in items)
    busy = sum(bool(item.action) for item in items)
    look, pick, ready = (sections.count(one) for one in ("look", "harvest", "ready"))
    return DayCounts(look, pick, ready, busy - look - pick - ready - photos, photos)
