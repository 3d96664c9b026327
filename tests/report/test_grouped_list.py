"""Today's list under its headings."""

from dataclasses import replace

from farm.lists import TAKE_A_PHOTO, TodayItem
from farm.lists.today import Section
from report import list_groups
from report.grouped_list import lines_shown
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


def test_a_page_s_lines_are_shared_out_in_turn_and_what_is_not_ready_yet_gets_what_is_left() -> None:
    many = [
        replace(one, outlook=replace(one.outlook, vessel=replace(one.outlook.vessel, batch=f"X{n}")))
        for n in range(9)
        for section in ("look", "harvest", "soon")
        for one in [item(f"{section[0].upper()}{n}", section, "")]
    ]
    groups = [one for one in list_groups(many, 7) if one.items]
    assert [one.section for one in groups] == ["look", "harvest", "soon"]
    assert lines_shown(groups, 100) == [6, 5, 3] == [one.n_shown for one in groups]
    assert lines_shown(groups, 12) == [6, 5, 1]
    assert lines_shown(groups, 7) == [4, 3, 0]
    assert lines_shown(groups[:1], 2) == [2]
