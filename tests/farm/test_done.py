"""Steps done with vessels, mistyped vessels, and how both are undone."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import pytest

from farm.lists import list_today
from farm.outlook import list_outlooks
from farm.records import (
    add_note,
    add_vessels,
    chosen_vessels,
    close_vessel,
    get_vessel,
    list_events,
    list_vessels,
    made_vessels,
    mark_done,
    move_vessels,
    notes_of,
    remove_vessels,
    rename_vessel,
    undo_done,
)
from farm.records.done import Step
from farm.records.models import Vessel
from farm.store import Farm
from farm.store.errors import UnknownVesselError, VesselChangeError

START = datetime(2026, 3, 1, 8, tzinfo=UTC)
DAY = START + timedelta(days=12)
BAGS = {"kind": "bag", "substrate": "sawdust", "batch": "NEW", "shelf": "B2"}


@pytest.fixture
def grow(farm: Farm) -> Farm:
    jars = [Vessel(f"J00{n}", "jar", START, "oyster", "rye grain", shelf="A1") for n in range(1, 4)]
    add_vessels(farm, [*jars, Vessel("B001", "bag", START, "shiitake", "sawdust")])
    return farm.at(DAY + timedelta(days=1))


def state(farm: Farm) -> object:
    return list_vessels(farm), list_events(farm)


def test_a_step_is_recorded_with_its_day_and_new_vessels_and_undone(grow: Farm) -> None:
    before = state(grow)
    chosen = chosen_vessels(grow, ["J001..J002", "B001"])
    made = made_vessels(grow, chosen[:2], ["N01..N06"], DAY, BAGS)
    sources = ["J001"] * 3 + ["J002"] * 3
    assert [(one.id, one.source) for one in made] == [(f"N0{n}", source) for n, source in enumerate(sources, start=1)]
    facts = {(one.species, one.substrate, one.batch, one.shelf, one.inoculated_at) for one in made}
    assert facts == {("oyster", "sawdust", "NEW", "B2", DAY)}
    done = mark_done(grow, chosen, DAY, made=made)
    assert [one.step for one in done] == ["spawned", "spawned", "opened"]
    noted = [("B001", "opened", DAY), ("J001", "spawned", DAY), ("J002", "spawned", DAY)]
    assert [(one.vessel, one.event, one.at) for one in list_events(grow)] == noted
    closed = get_vessel(grow, "J001")
    assert (closed.state, closed.closed_at) == ("closed", DAY)
    assert get_vessel(grow, "B001").state == "running"
    assert get_vessel(grow, "N04").source == "J002"
    assert [len(one.made) for one in undo_done(grow, chosen)] == [3, 3, 0]
    assert state(grow) == before


def test_a_fruiting_vessel_is_listed_as_fruiting_without_an_action(grow: Farm) -> None:
    mark_done(grow, chosen_vessels(grow, ["B001"]), DAY)
    item = next(one for one in list_today(grow, list_outlooks(grow)) if one.outlook.vessel.id == "B001")
    assert (item.section, item.action, item.next_step) == ("fruiting", "", "harvest")
    assert item.marks == ("fruits since Fri 13 Mar 2026: flush 1 about Sun 22 Mar 2026",)


def test_a_step_is_recorded_for_all_vessels_or_none(grow: Farm) -> None:
    before = state(grow)
    chosen = chosen_vessels(grow, ["J001", "J002"])
    made = made_vessels(grow, chosen, ["N1..N2"], DAY, BAGS)
    refused: tuple[tuple[Step | None, datetime, Sequence[Vessel], str], ...] = (
        (None, START - timedelta(days=1), (), "was inoculated later"),
        (None, datetime(2099, 1, 1, tzinfo=UTC), (), "has not come yet"),
        ("thrown_out", DAY, made, "makes no new vessels"),
        (None, DAY, [*made, Vessel("B001", "bag", DAY, source="J001")], "B001 is in the farm already"),
    )
    for step, at, new, said in refused:
        with pytest.raises(VesselChangeError, match=said):
            mark_done(grow, chosen, at, step, new)
    with pytest.raises(VesselChangeError, match="3 new vessels from 2"):
        made_vessels(grow, chosen, ["N1..N3"], DAY, BAGS)
    with pytest.raises(VesselChangeError, match=r"^J001 from J001: a vessel did not come from itself"):
        made_vessels(grow, chosen[:1], ["J001..J003"], DAY, BAGS)
    assert state(grow) == before
    mark_done(grow, chosen, DAY)
    with pytest.raises(VesselChangeError, match="J002 is closed already"):
        mark_done(grow, chosen_vessels(grow, ["J003", "J002"]), DAY)
    assert get_vessel(grow, "J003").state == "running"


def test_a_step_that_was_noted_before_is_refused(grow: Farm) -> None:
    chosen = chosen_vessels(grow, ["B001"])
    mark_done(grow, chosen, DAY)
    before = state(grow)
    for at in (DAY, DAY - timedelta(days=1)):
        with pytest.raises(
            VesselChangeError,
            match=r"^B001 fruits since Fri 13 Mar 2026 already; `--as spent` notes that it bears no more$",
        ):
            mark_done(grow, chosen, at)
    assert state(grow) == before
    mark_done(grow, chosen_vessels(grow, ["J001"]), DAY)
    close_vessel(grow, "J001", state="running")
    before = state(grow)
    with pytest.raises(VesselChangeError, match=r"J001: spawned at .* is noted already"):
        mark_done(grow, chosen_vessels(grow, ["J001"]), DAY)
    assert state(grow) == before


def test_the_same_refusal_of_many_vessels_is_said_once(grow: Farm) -> None:
    with pytest.raises(VesselChangeError, match=r"^J001\.\.J003 is for spawn: spent is what has fruited$"):
        mark_done(grow, chosen_vessels(grow, ["J001..J003", "B001"]), DAY, "spent")
    with pytest.raises(VesselChangeError, match=r"^[-\dT:]+: J001\.\.J003 was inoculated later, [-\dT:]+$"):
        mark_done(grow, chosen_vessels(grow, ["J001..J003"]), START - timedelta(days=1))
    with pytest.raises(VesselChangeError, match=r"^[-\dT:]+ has not come yet$"):
        mark_done(grow, chosen_vessels(grow, ["J001..J003"]), DAY + timedelta(days=9999))


def test_what_was_entered_last_is_undone_first_whatever_its_day(grow: Farm) -> None:
    chosen = chosen_vessels(grow, ["B001"])
    mark_done(grow, chosen, DAY)
    fruiting = state(grow)
    earlier = DAY - timedelta(days=3)
    mark_done(grow, chosen, earlier, "thrown_out")
    assert [(one.step, one.at) for one in undo_done(grow, chosen)] == [("thrown_out", earlier)]
    assert state(grow) == fruiting
    assert [(one.step, one.at) for one in undo_done(grow, chosen)] == [("opened", DAY)]
    assert list_events(grow) == []


def test_an_undo_that_names_its_step_takes_back_no_other(grow: Farm) -> None:
    """As a button on a page that is older than what was noted since."""
    chosen = chosen_vessels(grow, ["B001"])
    mark_done(grow, chosen, DAY)
    later = DAY + timedelta(hours=1)
    mark_done(grow, chosen, later, "thrown_out")
    before = state(grow)
    with pytest.raises(VesselChangeError, match=r"^B001: thrown out at .* was noted last; nothing was taken back$"):
        undo_done(grow, chosen, only=("opened", DAY))
    assert state(grow) == before
    assert [one.step for one in undo_done(grow, chosen, only=("thrown_out", later))] == ["thrown_out"]
    assert [one.step for one in undo_done(grow, chosen, only=("opened", DAY))] == ["opened"]


@pytest.mark.parametrize("later", [timedelta(), timedelta(hours=6)], ids=["same moment", "later"])
def test_steps_of_several_vessels_are_undone_only_where_they_were_given_together(grow: Farm, later: timedelta) -> None:
    add_vessels(grow, [Vessel(f"B00{n}", "bag", START, "shiitake", "sawdust") for n in (2, 3)])
    mark_done(grow, chosen_vessels(grow, ["B001..B003"]), DAY)
    mark_done(grow, chosen_vessels(grow, ["B001..B003"]), DAY + later, "spent")
    undo_done(grow, chosen_vessels(grow, ["B002"]))
    before = state(grow)
    with pytest.raises(VesselChangeError, match=r"B002: opened at .*; nothing was taken back") as refused:
        undo_done(grow, chosen_vessels(grow, ["B001..B003"]))
    assert "B001" not in str(refused.value)
    assert state(grow) == before
    assert [one.step for one in undo_done(grow, chosen_vessels(grow, ["B001", "B003"]))] == ["spent", "spent"]
    assert [one.step for one in undo_done(grow, chosen_vessels(grow, ["B001..B003"]))] == ["opened"] * 3


def test_a_step_is_not_undone_if_its_new_vessels_have_records(grow: Farm) -> None:
    chosen = chosen_vessels(grow, ["J001"])
    mark_done(grow, chosen, DAY, made=made_vessels(grow, chosen, ["N1"], DAY, BAGS))
    mark_done(grow, chosen_vessels(grow, ["N1"]), DAY + timedelta(hours=1), "thrown_out")
    before = state(grow)
    with pytest.raises(VesselChangeError, match=r"N1: 1 event$"):
        undo_done(grow, chosen)
    assert state(grow) == before
    with pytest.raises(VesselChangeError, match="nothing was noted as done with J003"):
        undo_done(grow, chosen_vessels(grow, ["J003"]))


def test_unknown_ids_are_listed_as_ranges(grow: Farm) -> None:
    with pytest.raises(UnknownVesselError, match=r"no vessel J004\.\.J006, X in"):
        chosen_vessels(grow, ["J001..J006", "X"])


def test_a_mistyped_vessel_is_removed_or_renamed_unless_it_has_records(grow: Farm) -> None:
    add_note(grow, "J003", "from a friend")
    assert rename_vessel(grow, "j003", "J030").id == "J030"
    assert [one.text for one in notes_of(grow, "J030")] == ["from a friend"]
    with pytest.raises(VesselChangeError, match="J001 is in the farm already"):
        rename_vessel(grow, "J030", "J001")
    remove_vessels(grow, chosen_vessels(grow, ["J030"]))
    assert [one.id for one in list_vessels(grow)] == ["B001", "J001", "J002"]
    chosen = chosen_vessels(grow, ["J001"])
    mark_done(grow, chosen, DAY, made=made_vessels(grow, chosen, ["N1"], DAY, BAGS))
    with pytest.raises(VesselChangeError, match="1 event, 1 vessel made from it"):
        remove_vessels(grow, chosen)
    with pytest.raises(VesselChangeError, match="1 event, 1 vessel made from it"):
        rename_vessel(grow, "J001", "J009")


def test_vessels_move_to_a_shelf(grow: Farm) -> None:
    move_vessels(grow, ["J001", "J002"], "C4")
    assert {one.id: one.shelf for one in list_vessels(grow)} == {"B001": "", "J001": "C4", "J002": "C4", "J003": "A1"}
