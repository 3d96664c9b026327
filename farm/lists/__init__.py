"""Today's list, the state of batches, and what has changed since yesterday."""

from farm.lists.batches import BatchView, batch_views
from farm.lists.changes import Change, What, changes_since, day_before, today_and_changes
from farm.lists.today import LOOK_FIRST, SECTIONS, Section, TodayItem, list_today, sort_into_sections

__all__ = [
    "LOOK_FIRST",
    "SECTIONS",
    "BatchView",
    "Change",
    "Section",
    "TodayItem",
    "What",
    "batch_views",
    "changes_since",
    "day_before",
    "list_today",
    "sort_into_sections",
    "today_and_changes",
]
