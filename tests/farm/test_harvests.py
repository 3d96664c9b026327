"""Harvests: recorded, taken back, taken in from a table, carried by backups, migrations and exports."""

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from farm.fruiting import (
    fruiting_since,
    harvest_cautions,
    import_harvests,
    list_harvests,
    record_harvest,
    take_back_harvest,
    take_back_table,
    vessel_yields,
)
from farm.records import (
    add_event,
    add_vessels,
    chosen_vessels,
    close_vessel,
    list_events,
    mark_done,
    remove_vessels,
    undo_done,
)
from farm.records.models import Harvest, State, Vessel
from farm.store import Farm, open_farm
from farm.store.errors import DoubtfulHarvestError, HarvestError, InputFileError, VesselChangeError
from farm.study import yield_groups
from farm.upkeep import back_up, check_farm, restore_farm

START = datetime(2026, 3, 1, 8, tzinfo=UTC)
OPENED = START + timedelta(days=20)
DAY = START + timedelta(days=28)


@pytest.fixture
def blocks(farm: Farm) -> Farm:
    made = [Vessel(f"K00{n}", "block", START, "oyster", "sawdust", contents_kg=2.5) for n in range(1, 5)]
    add_vessels(farm, [*made, Vessel("J001", "jar", START, "oyster", "rye grain")])
    return farm.at(DAY + timedelta(days=30))


def record(farm: Farm, ids: Sequence[str], kg: float, day: float = 0.0, **how: object) -> list[Harvest]:
    return record_harvest(farm, chosen_vessels(farm, ids), kg, DAY + timedelta(days=day), **how)  # type: ignore[arg-type]


def test_a_harvest_is_recorded_and_taken_back(blocks: Farm) -> None:
    assert record(blocks, ["K001"], 1.2) == [Harvest("K001", DAY, 1.2)]
    record(blocks, ["K001"], 0.4, 8, flush=2)
    assert [(one.fresh_kg, one.flush) for one in list_harvests(blocks)] == [(1.2, None), (0.4, 2)]
    chosen = chosen_vessels(blocks, ["K001"])
    assert [one.fresh_kg for one in take_back_harvest(blocks, chosen)] == [0.4]
    assert [one.fresh_kg for one in take_back_harvest(blocks, chosen)] == [1.2]
    with pytest.raises(HarvestError, match="no harvest of K001 is noted"):
        take_back_harvest(blocks, chosen)


def test_what_is_taken_back_is_what_was_entered_last_whatever_its_day(blocks: Farm) -> None:
    record(blocks, ["K001"], 0.5, 8)
    record(blocks, ["K001"], 1.1, 0)
    assert [one.fresh_kg for one in take_back_harvest(blocks, chosen_vessels(blocks, ["K001"]))] == [1.1]


def test_of_several_vessels_a_weight_is_of_each_or_of_all(blocks: Farm) -> None:
    record(blocks, ["K001..K002"], 0.5)
    shared = record(blocks, ["K001..K004"], 2.0, 1, weighed_together=True)
    assert {(one.fresh_kg, one.together) for one in shared} == {(0.5, "K001..K004")}
    assert sum(one.fresh_kg for one in list_harvests(blocks)) == 3.0
    assert [one.together for one in record(blocks, ["K001"], 0.3, 2, weighed_together=True)] == [""]


def test_vessels_weighed_together_are_taken_back_together(blocks: Farm) -> None:
    record(blocks, ["K001..K003"], 1.5, weighed_together=True)
    with pytest.raises(HarvestError, match=r"K001\.\.K003 were weighed together: take back all of them"):
        take_back_harvest(blocks, chosen_vessels(blocks, ["K001", "K002"]))
    assert len(list_harvests(blocks)) == 3
    assert len(take_back_harvest(blocks, chosen_vessels(blocks, ["K001..K003"]))) == 3
    assert list_harvests(blocks) == []


@pytest.mark.parametrize(
    ("kg", "day", "flush", "said"),
    [
        (0.0, 0, None, "more than 0"),
        (-1.0, 0, None, "more than 0"),
        (float("nan"), 0, None, "more than 0"),
        (1000.5, 0, None, "at most 1000 kg"),
        (1.0, -40, None, "was inoculated later"),
        (1.0, 9999, None, "has not come yet"),
        (1.0, 0, 0, "counted from 1 to 50"),
    ],
)
def test_a_harvest_that_cannot_be_is_refused(blocks: Farm, kg: float, day: float, flush: int | None, said: str) -> None:
    with pytest.raises(HarvestError, match=said):
        record(blocks, ["K001"], kg, day, flush=flush)
    assert list_harvests(blocks) == []


@pytest.mark.parametrize("state", ["contaminated", "quarantined"])
def test_what_is_picked_from_confirmed_contamination_is_refused(blocks: Farm, tmp_path: Path, state: State) -> None:
    record(blocks, ["K001"], 0.5, 0)
    for one in ("K001", "K002"):
        close_vessel(blocks, one, state=state, at=DAY + timedelta(days=10, hours=2))
    for day in (10, 20):
        with pytest.raises(
            HarvestError, match=r"^contamination was confirmed: K001, K002; discard it, nothing .* food"
        ):
            record(blocks, ["K001..K003"], 0.4, day)
    table = tmp_path / "harvests.csv"
    table.write_text("vessel,at,kg\nK002,2026-04-20,0.4\n", "utf-8")
    with pytest.raises(InputFileError, match="line 2, column at: contamination was confirmed: K002"):
        import_harvests(blocks, table)
    assert [one.vessel for one in list_harvests(blocks)] == ["K001"]
    record(blocks, ["K002"], 0.4, 9)
    assert len(list_harvests(blocks)) == 2


def test_confirmed_contamination_is_refused_in_a_farm_that_looks_back(blocks: Farm) -> None:
    """The verdict is of the machine's clock, later than the farm's now."""
    close_vessel(blocks, "K001", state="contaminated")
    with pytest.raises(HarvestError, match="contamination was confirmed: K001"):
        record_harvest(blocks, chosen_vessels(blocks, ["K001"]), 0.4, blocks.now)


def test_the_same_refusal_of_many_vessels_is_said_once(blocks: Farm) -> None:
    with pytest.raises(
        HarvestError, match=r"^[-\dT:]+: K001\.\.K003 was inoculated later, [-\dT:]+; nothing was noted$"
    ):
        record(blocks, ["K001..K003"], 0.4, -40)


def test_the_same_moment_twice_is_refused_for_all(blocks: Farm) -> None:
    record(blocks, ["K001"], 1.2)
    with pytest.raises(HarvestError, match=r"K001 has a harvest of 1\.2 kg at .*; nothing was noted"):
        record(blocks, ["K001..K003"], 0.4)
    assert [one.vessel for one in list_harvests(blocks)] == ["K001"]


def test_cautions_name_what_is_odd_about_a_harvest(blocks: Farm) -> None:
    record(blocks, ["K001"], 2.4)
    assert harvest_cautions(blocks, chosen_vessels(blocks, ["K001"])) == []
    record(blocks, ["K001"], 350, 1, sure=True)
    (heavy,) = harvest_cautions(blocks, chosen_vessels(blocks, ["K001..K002"]))
    assert heavy == "more mushrooms than wet substrate: is the unit right? K001: 352 kg in all, of 2.5 kg"
    record(blocks, ["J001"], 0.1, sure=True)
    mark_done(blocks, chosen_vessels(blocks, ["K002"]), DAY, "spent")
    assert harvest_cautions(blocks, chosen_vessels(blocks, ["J001", "K002"])) == [
        "no longer on the lists: K002 (closed); noted all the same",
        "not for fruiting, as its record or its substrate tells: J001",
    ]


def test_what_is_most_likely_a_mistake_is_noted_only_by_who_is_sure(blocks: Farm) -> None:
    """A block of 2.5 kg: 7 kg is a warning, 420 kg (grams taken for kilograms) is refused."""
    record(blocks, ["K001"], 7.0)
    for kg in (0.6, 420.0):
        with pytest.raises(DoubtfulHarvestError, match=r"K001: .*: is the unit right; nothing was noted \(--yes"):
            record(blocks, ["K001"], kg, 1)
    with pytest.raises(DoubtfulHarvestError, match=r"K002, K003: 420 kg in all from 2\.5 kg of wet substrate"):
        record(blocks, ["K002", "K003"], 420.0)
    with pytest.raises(DoubtfulHarvestError, match=r"J001 \(spawn, as its substrate tells\) is not for fruiting"):
        record(blocks, ["J001"], 0.1)
    assert [one.fresh_kg for one in list_harvests(blocks)] == [7.0]
    record(blocks, ["K001"], 420.0, 1, sure=True)
    assert vessel_yields(blocks, chosen_vessels(blocks, ["K001"]))[0].is_heavy
    (one,) = yield_groups(blocks, "vessel")
    assert "more than the wet substrate: K001; is the unit right?" in one.cautions


def test_a_harvest_that_a_button_names_is_taken_back_and_no_other(blocks: Farm) -> None:
    record(blocks, ["K001"], 1.2)
    record(blocks, ["K001"], 0.4, 8)
    chosen = chosen_vessels(blocks, ["K001"])
    with pytest.raises(HarvestError, match=r"0\.4 kg at .*, noted last"):
        take_back_harvest(blocks, chosen, only=DAY)
    assert [one.fresh_kg for one in take_back_harvest(blocks, chosen, only=DAY + timedelta(days=8))] == [0.4]


def test_a_row_of_a_table_may_be_of_a_range(blocks: Farm, tmp_path: Path) -> None:
    """Each of them gave the weight, or all did: it is asked, by line, and never guessed."""
    table = tmp_path / "harvests.csv"
    table.write_text("vessel,at,kg,together\nK001..K003,2026-03-29,1.2,all\nK001..K002,2026-03-30,0.4,each\n", "utf-8")
    assert import_harvests(blocks, table).added == 5
    found = [(one.vessel, round(one.fresh_kg, 6), one.together) for one in list_harvests(blocks)]
    assert found == [(f"K00{n}", 0.4, "K001..K003") for n in (1, 2, 3)] + [(f"K00{n}", 0.4, "") for n in (1, 2)]
    assert import_harvests(blocks, table).same == 5
    assert take_back_table(blocks, table) == 5
    table.write_text(
        "vessel,at,kg\nK001..K003,2026-03-29,1.2\nK001-K003,2026-03-29,1\nK009..K010,2026-03-29,1\nK4..K2,2026-03-29,1\n"
        "K004,2026-03-29,420\n",
        "utf-8",
    )
    with pytest.raises(InputFileError) as caught:
        import_harvests(blocks, table)
    told = str(caught.value)
    assert "line 2, column vessel: K001..K003 are several: write each in a column together" in told
    assert "line 3, column vessel: no vessel K001-K003; a range is written K001..K003" in told
    assert "line 4, column vessel: no vessel K009" in told
    assert "line 5, column vessel: K4..K2: a sequence counts up" in told
    assert "line 6, its weight: K004: 420 kg in all from 2.5 kg of wet substrate: is the unit right (--yes" in told
    assert list_harvests(blocks) == []


def test_what_fruits_is_known_by_the_first_of_opened_pins_and_harvest(blocks: Farm) -> None:
    assert fruiting_since(blocks, ["K001", "K002", "K003"]) == {}
    add_event(blocks, "K001", "opened", OPENED)
    record(blocks, ["K001", "K002"], 1.0)
    add_event(blocks, "K003", "pins", OPENED + timedelta(days=3))
    since = {"K001": OPENED, "K002": DAY, "K003": OPENED + timedelta(days=3)}
    assert fruiting_since(blocks, ["K001", "K002", "K003", "K004"]) == since
    assert list(fruiting_since(blocks.as_known_at(DAY - timedelta(days=1)), since)) == ["K001", "K003"]


def test_a_vessel_with_a_harvest_is_not_removed(blocks: Farm) -> None:
    record(blocks, ["K001"], 1.2)
    with pytest.raises(VesselChangeError, match="K001: 1 harvest"):
        remove_vessels(blocks, chosen_vessels(blocks, ["K001"]))


def test_spent_closes_a_fruiting_vessel_with_its_reason_and_is_undone(blocks: Farm) -> None:
    mark_done(blocks, chosen_vessels(blocks, ["K001"]), DAY, "spent", why=" two flushes ")
    assert [(one.event, one.why) for one in list_events(blocks)] == [("spent", "two flushes")]
    assert chosen_vessels(blocks, ["K001"])[0].state == "closed"
    assert undo_done(blocks, chosen_vessels(blocks, ["K001"]))[0].why == "two flushes"
    assert chosen_vessels(blocks, ["K001"])[0].state == "running"
    with pytest.raises(VesselChangeError, match="J001 is for spawn: spent is what has fruited"):
        mark_done(blocks, chosen_vessels(blocks, ["J001"]), DAY, "spent")


TABLE = """\
id;date;weight;flush
k001;2026-03-29;1,2;
K002;2026-03-29;"2.2 lb";1
K001;2026-04-07;400 g;2
"""


def test_a_table_is_taken_in_once_in_any_unit(blocks: Farm, tmp_path: Path) -> None:
    table = tmp_path / "harvests.csv"
    table.write_text(TABLE, "utf-8")
    count = import_harvests(blocks, table)
    assert (count.added, count.same) == (3, 0)
    found = [(one.vessel, round(one.fresh_kg, 4), one.flush) for one in list_harvests(blocks)]
    assert found == [("K001", 1.2, None), ("K002", 0.9979, 1), ("K001", 0.4, 2)]
    count = import_harvests(blocks, table)
    assert (count.added, count.same) == (0, 3)
    record(blocks, ["K003"], 0.5)
    assert take_back_table(blocks, table) == 3
    assert [one.vessel for one in list_harvests(blocks)] == ["K003"]
    with pytest.raises(HarvestError, match=r"no harvest of .*harvests\.csv is noted"):
        take_back_table(blocks, table)


def test_a_weight_column_is_in_the_unit_of_the_farm(blocks: Farm, tmp_path: Path) -> None:
    (blocks.folder / "farm.toml").write_text('[units]\nweights = "lb"\n', "utf-8")
    table = tmp_path / "harvests.csv"
    table.write_text("vessel,at,weight\nK001,2026-03-29,2\n", "utf-8")
    with open_farm(blocks.folder) as pounds:
        import_harvests(pounds, table)
        assert [round(one.fresh_kg, 6) for one in list_harvests(pounds)] == [0.907185]
    table.write_text("vessel,at,kg\nK002,2026-03-29,2\n", "utf-8")
    with open_farm(blocks.folder) as pounds:
        import_harvests(pounds, table)
        assert [round(one.fresh_kg, 6) for one in list_harvests(pounds, ["K002"])] == [2.0]


def test_each_fault_of_a_table_is_named_by_its_line(blocks: Farm, tmp_path: Path) -> None:
    record(blocks, ["K004"], 1.2)
    table = tmp_path / "harvests.csv"
    table.write_text(
        "vessel,at,kg,flush\nK009,2026-03-29,1,\nK001,2026-02-01,1,\nK001,2026-03-29,0,\nK001,2026-03-29,1,0\n"
        "K002,2026-03-29,1,\nK002,2026-03-29,2,\nK003,2099-01-01,1,\nK003,2026-03-29,3 stone,\n"
        f"K004,{DAY.isoformat()},9,\n",
        "utf-8",
    )
    with pytest.raises(InputFileError) as caught:
        import_harvests(blocks, table)
    lines = {problem.split(",")[0]: problem for problem in caught.value.problems}
    assert lines["line 2"] == "line 2, column vessel: no vessel K009"
    assert "was inoculated later" in lines["line 3"]
    assert "column kg: '0': must be more than 0" in lines["line 4"]
    assert "column flush" in lines["line 5"]
    assert "in this table too; give the time of day of each" in lines["line 7"]
    assert "has not come yet" in lines["line 8"]
    assert "the unit is one of g, kg, lb, lbs, oz" in lines["line 9"]
    assert "K004 has a harvest of 1.2 kg" in lines["line 10"]
    assert [one.vessel for one in list_harvests(blocks)] == ["K004"]


def test_backup_restore_and_check_carry_harvests(blocks: Farm, tmp_path: Path) -> None:
    record(blocks, ["K001..K002"], 1.0, weighed_together=True)
    back_up(blocks, tmp_path / "farm.zip")
    restore_farm(tmp_path / "farm.zip", tmp_path / "again")
    with open_farm(tmp_path / "again") as again:
        assert list_harvests(again.at(blocks.now)) == list_harvests(blocks)
    assert check_farm(blocks.folder) == []
    with closing(sqlite3.connect(blocks.folder / "records.sqlite")) as records:
        records.execute("DELETE FROM vessels WHERE id = 'K002'")
        records.commit()
    (found,) = check_farm(blocks.folder)
    assert found.found == "a row of harvests belongs to K002, which is not among the vessels"
