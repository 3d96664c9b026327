"""Today's list under its headings."""

from dataclasses import replace

from farm.lists import TAKE_A_PHOTO, TodayItem
from farm.lists.today import Section
from report import list_groups
from tests.report.test_page import item as made


def item(vessel_id: str, section: Section, action: str) -> TodayItem:
    return replace(made(section=section, vessel_id=vessel_id, suspect=False), action=action)


def test_a_quiet_section_shows_what_asks_for_more_than_a_photo() -> None:
    """A stalled vessel that a person gave up stands under "later" or "unknown", whose vessels are folded."""
    folded = [item(f"B{n:03}", "later", "") for n in range(6)]
    photos = [item(f"P{n:03}", "later", TAKE_A_PHOTO) for n in range(2)]
    stalled = item("S001", "later", "discard it, or give it more time")
    (later,) = [one for one in list_groups([*folded, *photos, stalled], 7) if one.section == "later"]
    assert (later.n_shown, later.tasks[0].ids) == (1, ("S001",))
    (quiet,) = [one for one in list_groups([*folded, *photos], 7) if one.section == "later"]
    assert quiet.n_shown == 0
