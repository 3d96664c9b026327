"""Today's list and its tasks, cautions on a step, the state of batches, the weeks ahead, changes since yesterday."""

from farm.lists.batches import BatchView, batch_views
from farm.lists.changes import Change, NewSince, What, changes_since, day_before, new_since, today_and_changes
from farm.lists.counts import DayCounts, day_counts
from farm.lists.marks import TAKE_A_PHOTO, PhotoReason, fruiting_mark, is_outdated, photo_reason
from farm.lists.shelf_round import ShelfRound, seen_today, shelf_round
from farm.lists.step_cautions import StepCautions, step_cautions, step_cautions_of, suspects_waiting
from farm.lists.tasks import Task, tasks_by_shelf, tasks_of
from farm.lists.today import LOOK_FIRST, SECTIONS, SPENT_STEP, Section, TodayItem, list_today, sort_into_sections
from farm.lists.weeks import DayAhead, weeks_ahead

__all__ = [
    "LOOK_FIRST",
    "SECTIONS",
    "SPENT_STEP",
    "TAKE_A_PHOTO",
    "BatchView",
    "Change",
    "DayAhead",
    "DayCounts",
    "NewSince",
    "PhotoReason",
    "Section",
    "ShelfRound",
    "StepCautions",
    "Task",
    "TodayItem",
    "What",
    "batch_views",
    "changes_since",
    "day_before",
    "day_counts",
    "fruiting_mark",
    "is_outdated",
    "list_today",
    "new_since",
    "photo_reason",
    "seen_today",
    "shelf_round",
    "sort_into_sections",
    "step_cautions",
    "step_cautions_of",
    "suspects_waiting",
    "tasks_by_shelf",
    "tasks_of",
    "today_and_changes",
    "weeks_ahead",
]
