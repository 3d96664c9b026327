"""Harvests and the life of what fruits, as they are typed."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Spawnrun

FARM = ("--farm", "home")
TABLE = """\
vessel,kind,species,substrate,inoculated,batch
K001,block,oyster,sawdust,2026-03-01,FIRST
K002,block,oyster,sawdust,2026-03-01,FIRST
K003,block,oyster,sawdust,2026-03-01,FIRST
J001,jar,oyster,rye grain,2026-03-01,
"""


@pytest.fixture
def blocks(spawnrun: Spawnrun, tmp_path: Path) -> Path:
    assert spawnrun("init", "home").code == 0
    (tmp_path / "vessels.csv").write_text(TABLE, "utf-8")
    settings = tmp_path / "home" / "farm.toml"
    settings.write_text(settings.read_text().replace('as_of = ""', 'as_of = "2026-04-01T20:00"'))
    assert spawnrun("vessel", "import", "vessels.csv", *FARM).code == 0
    return tmp_path / "home"


def test_a_harvest_is_noted_shown_and_taken_back(spawnrun: Spawnrun, blocks: Path) -> None:
    noted = spawnrun("harvest", "K001", "--kg", "1.2", "--at", "30 Mar 2026", "--flush", "2", *FARM)
    assert noted.out == "K001: 1.2 kg, picked at 2026-03-30T00:00, flush 2\n"
    following, unopened, back, food, spores = noted.err.splitlines()
    assert following == "K001: rests; last picked on Mon 30 Mar 2026: flush 3 about Mon 6 Apr 2026"
    how = "the day on which it was opened is noted with `spawnrun event K001 opened --at DAY`"
    assert unopened == f"warning: never noted as opened for fruiting: K001; is the id right? If it is, {how}"
    assert back == "to take it back: spawnrun harvest K001 --undo --yes --farm home"
    assert food.startswith("About food. Nothing here says that a mushroom is fit to eat")
    assert spores.startswith("About spores. Mushroom spores can harm lungs: air the fruiting room")
    shown = spawnrun("vessel", "show", "K001", *FARM).out
    assert "harvest         2026-03-30T00:00 1.2 kg (flush 2)\n" in shown
    assert "fruiting        rests; last picked on Mon 30 Mar 2026: flush 3 about Mon 6 Apr 2026\n" in shown
    # A block has 2.5 kg of sawdust with 60 % of water.
    assert "yield           1.2 kg in 1 flush, 120 % of the dry weight of its substrate\n" in shown
    older = spawnrun("harvest", "K001", "--undo", *FARM)
    assert older.code == 2
    assert "the harvest of K001 is of 2026-03-30; take it back? --yes says so" in older.err
    undone = spawnrun("harvest", "K001", "--undo", "--yes", *FARM)
    assert undone.out == "K001: 1.2 kg, picked at 2026-03-30T00:00, flush 2 taken back\n"
    assert "harvest" not in spawnrun("vessel", "show", "K001", *FARM).out


@pytest.mark.parametrize("command", [("harvest", "K001", "--kg", "1"), ("event", "K001", "pins"), ("done", "K001")])
@pytest.mark.parametrize("as_of", ["", "2900-01-01T20:00"])
def test_what_has_not_come_yet_is_refused(
    spawnrun: Spawnrun, blocks: Path, command: tuple[str, ...], as_of: str
) -> None:
    settings = blocks / "farm.toml"
    settings.write_text(settings.read_text().replace('as_of = "2026-04-01T20:00"', f'as_of = "{as_of}"'))
    refused = spawnrun(*command, "--at", "tomorrow", *FARM)
    assert refused.code == 2
    assert "has not come yet" in " ".join(refused.err.split())
    assert "opened" not in spawnrun("vessel", "show", "K001", *FARM).out


def test_of_several_vessels_it_is_asked_whether_each_or_all_gave_the_weight(spawnrun: Spawnrun, blocks: Path) -> None:
    asked = spawnrun("harvest", "K001..K003", "--kg", "1.2", *FARM)
    assert asked.code == 2
    assert "did each vessel give that weight, or all?" in asked.err
    together = spawnrun("harvest", "K001..K003", "--weight", "1200g", "--together", "--at", "2026-03-30", *FARM)
    assert together.out == "K001..K003: 0.4 kg each, 1.2 kg in all, picked at 2026-03-30T00:00\n"
    assert "an equal share of K001..K003" in spawnrun("vessel", "show", "K002", *FARM).out
    each = spawnrun("harvest", "K001", "K002", "--kg", "0.5", "--each", "--at", "2026-03-31", *FARM)
    assert each.out == "K001, K002: 0.5 kg each, 1 kg in all, picked at 2026-03-31T00:00\n"


def test_weights_are_in_the_unit_of_the_farm(spawnrun: Spawnrun, blocks: Path) -> None:
    settings = blocks / "farm.toml"
    settings.write_text(settings.read_text().replace('weights = "kg"', 'weights = "lb"'))
    assert spawnrun("harvest", "K001", "--weight", "2", "--at", "2026-03-30", *FARM).out.startswith(
        "K001: 2 lb, picked"
    )
    assert spawnrun("harvest", "K002", "--kg", "1", "--at", "2026-03-30", *FARM).out.startswith("K002: 2.2 lb, picked")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("K001",), "give one of them"),
        (("K001", "--kg", "1", "--weight", "1"), "give one of them"),
        (("K001", "--kg", "much"), "--kg"),
        (("K001", "--weight", "3 stone"), "the unit is one of g, kg, lb, lbs, oz"),
        (("K001", "--kg", "0"), "must be more than 0"),
        ((), "give vessels, or --import FILE"),
        (("K001", "--import", "x.csv"), "give vessels, or --import FILE"),
        (("K009", "--kg", "1"), "no vessel K009"),
    ],
)
def test_what_cannot_be_understood_is_named(
    spawnrun: Spawnrun, blocks: Path, words: tuple[str, ...], said: str
) -> None:
    refused = spawnrun("harvest", *words, *FARM)
    assert (refused.code, refused.out) == (2, "")
    assert said in refused.err


def test_a_table_of_harvests_is_taken_in(spawnrun: Spawnrun, blocks: Path, tmp_path: Path) -> None:
    (tmp_path / "harvests.csv").write_text("vessel,at,weight\nK001,2026-03-30,0.8\nK002,2026-03-30,0.9\n", "utf-8")
    taken_in = spawnrun("harvest", "--import", "harvests.csv", *FARM)
    assert taken_in.out == "harvests: 2 added, 0 known already\n"
    assert "to take them back: spawnrun harvest --import harvests.csv --undo --farm home" in taken_in.err
    assert "About food." in taken_in.err
    assert "About spores." in taken_in.err
    assert spawnrun("harvest", "--import", "harvests.csv", "--undo", *FARM).out == "harvests: 2 taken back\n"
    assert spawnrun("harvest", "--import", "harvests.csv", *FARM).code == 0
    assert spawnrun("export", "--out", "out", *FARM).code == 0
    assert spawnrun("harvest", "--import", "out/harvests.csv", *FARM).out == "harvests: 0 added, 2 known already\n"


def test_odd_harvests_are_noted_by_who_is_sure_with_a_warning(spawnrun: Spawnrun, blocks: Path, tmp_path: Path) -> None:
    refused = spawnrun("harvest", "J001", "--kg", "0.1", *FARM)
    assert (refused.code, refused.out) == (2, "")
    assert "is not for fruiting: a harvest would change nothing on its lists; nothing was noted (--yes" in refused.err
    (tmp_path / "heavy.csv").write_text("vessel,at,kg\nK002,2026-03-29,350\n", "utf-8")
    assert "line 2, its weight: K002: 350 kg in all" in spawnrun("harvest", "--import", "heavy.csv", *FARM).err
    assert spawnrun("harvest", "--import", "heavy.csv", "--yes", *FARM).out == "harvests: 1 added, 0 known already\n"
    odd = spawnrun("harvest", "J001", "--kg", "0.1", "--yes", *FARM)
    assert odd.code == 0
    assert "warning: not for fruiting, as its record or its substrate tells: J001" in odd.err
    heavy = spawnrun("harvest", "K001", "--kg", "350", "--yes", *FARM)
    assert "warning: more mushrooms than wet substrate: is the unit right? K001: 350 kg in all, of" in heavy.err


def test_a_block_is_opened_bears_pins_and_is_spent(spawnrun: Spawnrun, blocks: Path) -> None:
    assert spawnrun("event", "K001", "pins", "--at", "2026-03-25", *FARM).out == "K001: pins at 2026-03-25T00:00\n"
    spent = spawnrun("done", "K001", "--as", "spent", "--why", "two flushes", "--at", "2026-04-01", *FARM)
    assert spent.out == "K001: spent at 2026-04-01T00:00\n"
    assert "warning" not in spent.err
    assert "spent           2026-04-01T00:00 two flushes" in spawnrun("vessel", "show", "K001", *FARM).out
    never = spawnrun("done", "K002", "--as", "spent", *FARM)
    assert "warning: that they fruit was never noted: K002" in never.err


def test_new_vessels_are_told_their_use_and_contents(spawnrun: Spawnrun, blocks: Path) -> None:
    made = ("--into", "N01..N02", "--kind", "bag", "--use", "fruiting", "--contents", "2200g")
    assert spawnrun("done", "J001", *made, *FARM).code == 0
    shown = spawnrun("vessel", "show", "N02", *FARM).out
    assert "contents        2.2 kg" in shown
    assert "fruiting, as its record says" in shown
    added = ("--kind", "block", "--inoculated", "2026-03-02", "--contents", "5lb")
    assert spawnrun("vessel", "add", "N10", *added, *FARM).code == 0
    assert "contents        2.27 kg" in spawnrun("vessel", "show", "N10", *FARM).out
    wrong = spawnrun("vessel", "add", "N11", "--kind", "block", "--inoculated", "2026-03-02", "--contents", "0", *FARM)
    assert "--contents: '0 kg': must be more than 0" in wrong.err


@pytest.fixture
def fruited(spawnrun: Spawnrun, blocks: Path, tmp_path: Path) -> Path:
    """K001 and K002 opened on 8 March and spent; K003 opened and thrown out; all from the jar, which was spawned."""
    assert spawnrun("done", "J001", "--at", "2026-03-01", *FARM).code == 0
    assert spawnrun("done", "K001..K003", "--as", "fruiting", "--at", "2026-03-08", *FARM).code == 0
    (tmp_path / "harvests.csv").write_text(
        "vessel,at,kg\nK001,2026-03-16,0.5\nK001,2026-03-24,0.25\nK002,2026-03-16,0.3\n", "utf-8"
    )
    assert spawnrun("harvest", "--import", "harvests.csv", *FARM).code == 0
    for vessel in ("K001", "K002"):
        assert spawnrun("done", vessel, "--as", "spent", "--at", "2026-03-30", *FARM).code == 0
    out = ("--as", "thrown-out", "--why", "green mould", "--at", "2026-03-20")
    assert spawnrun("done", "K003", *out, *FARM).code == 0
    return blocks


def test_yields_are_printed_by_group_with_cautions(spawnrun: Spawnrun, fruited: Path) -> None:
    """A block has 2.5 kg of sawdust with 60 % of water: 1 kg dry."""
    told = spawnrun("yields", "--by", "vessel", *FARM)
    assert "K001    0.75  0.5 + 0.25               75" in told.out
    assert "contents not noted: the usual of a block" in told.out
    assert told.out.endswith("and follow your local work-safety rules.\n")
    assert "About food." in told.out
    assert "About spores." in told.out
    (batch,) = json.loads(spawnrun("yields", "--format", "json", *FARM).out)
    assert (batch["group"], batch["vessels"], batch["finished"], batch["harvests"]) == ("FIRST", 3, 3, 3)
    assert (batch["fresh_kg"], batch["flush_kg"]) == (1.05, {"1": 0.8, "2": 0.25})
    assert (batch["efficiency_percent"], batch["efficiency_percent_units"]) == (35.0, 3)
    first, second = json.loads(spawnrun("yields", "--by", "flush", "--format", "json", *FARM).out)
    assert (first["group"], first["fresh_kg"], second["fresh_kg"]) == ("flush 1", 0.8, 0.25)
    early = json.loads(spawnrun("yields", "--as-of", "2026-03-17", "--format", "json", *FARM).out)
    assert (early[0]["fresh_kg"], early[0]["finished"]) == (0.8, 0)


def test_yields_are_in_the_unit_of_the_farm(spawnrun: Spawnrun, fruited: Path) -> None:
    settings = fruited / "farm.toml"
    settings.write_text(settings.read_text().replace('weights = "kg"', 'weights = "lb"'))
    heading, first, *_ = spawnrun("yields", "--by", "vessel", *FARM).out.splitlines()
    assert heading.split()[:2] == ["vessel", "lb"]
    assert first.split()[:5] == ["K001", "1.65", "1.1", "+", "0.551"]


def test_losses_tell_what_became_of_a_jar(spawnrun: Spawnrun, fruited: Path) -> None:
    told = spawnrun("losses", "--by", "batch", *FARM)
    heading, row = told.out.splitlines()
    assert "at which stage" in heading
    assert row.split()[:4] == ["FIRST", "3", "1", "2"]
    assert "1 fruiting" in row
    assert "1 green mould" in row
    (one,) = json.loads(spawnrun("losses", "--by", "batch", "--format", "json", *FARM).out)
    assert one["fates"] == {"lost": 1, "fruited": 2}
    assert one["reasons"] == {"green mould": 1}
    by_kind = spawnrun("losses", "--by", "kind", "--as-of", "2026-03-17", "--format", "csv", *FARM)
    assert by_kind.code == 0
    added = ("--kind", "block", "--inoculated", "2026-03-02", "--source", "J001")
    assert spawnrun("vessel", "add", "K010", *added, *FARM).code == 0
    assert "J001 became 1 vessel: 1 running" in spawnrun("trace", "J001", *FARM).out


def test_a_plan_tells_the_weight_to_be_expected(spawnrun: Spawnrun, fruited: Path) -> None:
    added = ("--kind", "block", "--species", "oyster", "--substrate", "sawdust", "--inoculated", "2026-03-02")
    assert spawnrun("vessel", "add", "K010", *added, *FARM).code == 0
    assert spawnrun("done", "K010", "--at", "2026-03-31", *FARM).code == 0
    told = spawnrun("plan", *FARM).out
    assert "Harvests to be expected, of each week alone" in told
    assert "Learned from few batches, and likely to be farther off than low and high say: oyster" in told
    assert "About food." in told
    lines = [one for one in json.loads(spawnrun("plan", "--format", "json", *FARM).out) if one["part"] == "harvest"]
    assert {(one["species"], one["unit"]) for one in lines} == {("oyster", "kg")}


def test_the_list_says_what_is_to_be_picked(spawnrun: Spawnrun, blocks: Path) -> None:
    assert spawnrun("done", "K001..K003", "--as", "fruiting", "--at", "2026-03-24", *FARM).code == 0
    told = spawnrun("ready", *FARM).out
    assert "Due to be picked (3)" in told
    assert "harvest flush 1" in told
    assert "when they are picked: spawnrun harvest VESSELS --weight WEIGHT --farm home" in told
    assert told.count("About food.") == told.count("About spores.") == 1
    (one, *_) = json.loads(spawnrun("ready", "--format", "json", *FARM).out)
    assert (one["section"], one["fruiting"], one["flush"], one["due_at"]) == ("harvest", "due", 1, "2026-03-31T00:00")
    assert "Tue 31 Mar 2026" in spawnrun("ready", "--each", *FARM).out
    assert spawnrun("harvest", "K001..K003", "--kg", "1.2", "--together", *FARM).code == 0
    after = spawnrun("ready", *FARM).out
    assert "since the day before: 3 harvested (1.2 kg)" in after
    assert "Fruiting: 3, the first to be picked Thu 9 Apr 2026" in after


def test_a_harvest_beside_what_may_be_mould_is_noted_with_a_warning(spawnrun: Spawnrun, week: Path) -> None:
    """B002 has a green patch that nobody has judged."""
    noted = spawnrun("harvest", "B002", "--kg", "0.2", *FARM)
    assert noted.code == 0
    assert "warning: something that may be mould waits for review on B002" in noted.err
    assert "may be mould" not in spawnrun("harvest", "J001", "--kg", "0.2", *FARM).err


def test_who_throws_out_without_a_reason_is_told_how_to_give_one(spawnrun: Spawnrun, blocks: Path) -> None:
    assert "--why gives one" in spawnrun("done", "K001", "--as", "thrown-out", *FARM).err
    given = spawnrun("done", "K002", "--as", "thrown-out", "--why", "green mould", *FARM)
    assert "--why" not in given.err


def test_an_undo_of_an_earlier_day_asks_first_and_so_does_one_given_again(spawnrun: Spawnrun, blocks: Path) -> None:
    """Who gives an undo twice may not know that the second reaches further back."""
    assert spawnrun("done", "K001", "--as", "fruiting", "--at", "2026-03-09", *FARM).code == 0
    older = spawnrun("done", "K001", "--undo", *FARM)
    assert older.code == 2
    assert "K001: moved to fruiting is of 2026-03-09; take it back? --yes says so" in older.err
    told = spawnrun("done", "K001", "--as", "spent", *FARM)
    assert "to take it back: spawnrun done K001 --undo --farm home" in told.err.splitlines()
    assert spawnrun("done", "K001", "--undo", *FARM).code == 0
    again = spawnrun("done", "K001", "--undo", *FARM)
    assert again.code == 2
    assert "K001: moved to fruiting, 2026-03-09T00:00: a later one was taken back already" in " ".join(
        again.err.split()
    )
    sure = spawnrun("done", "K001", "--undo", "--yes", *FARM)
    assert sure.out == "K001: moved to fruiting at 2026-03-09T00:00 taken back\n"


def test_an_undo_given_again_asks_also_where_both_steps_are_of_one_day(spawnrun: Spawnrun, blocks: Path) -> None:
    assert spawnrun("done", "K001", "--as", "fruiting", *FARM).code == 0
    assert spawnrun("done", "K001", "--as", "spent", *FARM).code == 0
    assert spawnrun("done", "K001", "--undo", *FARM).code == 0
    again = spawnrun("done", "K001", "--undo", *FARM)
    assert again.code == 2
    assert "K001: moved to fruiting, 2026-04-01T20:00" in " ".join(again.err.split())
    assert "a later one was taken back already; take this back too? --yes says so" in " ".join(again.err.split())
    assert spawnrun("done", "K001", "--as", "spent", *FARM).code == 0  # it is not asked of what was noted since
    assert spawnrun("done", "K001", "--undo", *FARM).code == 0
    assert spawnrun("done", "K001", "--undo", "--yes", *FARM).out.startswith("K001: moved to fruiting")


def test_an_undo_of_a_harvest_given_again_asks(spawnrun: Spawnrun, blocks: Path) -> None:
    for kg, at in (("0.3", "2026-04-01T10:00"), ("0.4", "2026-04-01T11:00")):
        assert spawnrun("harvest", "K001..K003", "--kg", kg, "--each", "--at", at, *FARM).code == 0
    assert spawnrun("harvest", "K002", "--undo", *FARM).out.startswith("K002: 0.4 kg")
    again = spawnrun("harvest", "K001..K003", "--undo", *FARM)
    assert (again.code, again.out) == (2, "")
    assert "a later one was taken back already" in " ".join(again.err.split())
    assert spawnrun("harvest", "K001", "K003", "--undo", *FARM).out.startswith("K001, K003: 0.4 kg")
    assert spawnrun("harvest", "K001..K003", "--undo", "--yes", *FARM).out.startswith("K001..K003: 0.3 kg")


def test_an_undo_that_names_its_time_takes_back_that_harvest_and_no_other(spawnrun: Spawnrun, blocks: Path) -> None:
    """Before, --at was passed over: the newest harvest went, whatever was named."""
    for kg, at in (("0.5", "2026-03-20T10:00:05"), ("0.4", "2026-03-28T10:00"), ("0.3", "2026-04-01T08:00")):
        assert spawnrun("harvest", "K001", "--kg", kg, "--at", at, *FARM).code == 0
    none = spawnrun("harvest", "K001", "--undo", "--yes", "--at", "2026-03-21", *FARM)
    assert (none.code, none.out) == (2, "")
    assert "no harvest of K001 is noted at that time; `spawnrun vessel show K001` lists them" in none.err
    day = spawnrun("harvest", "K001", "--undo", "--at", "2026-03-28", *FARM)
    assert day.out == "K001: 0.4 kg, picked at 2026-03-28T10:00 taken back\n"
    assert spawnrun("harvest", "K001", "--undo", "--at", "2026-03-20T10:00:04", *FARM).code == 2
    minute = spawnrun("harvest", "K001", "--undo", "--at", "2026-03-20T10:00", *FARM)
    assert minute.out == "K001: 0.5 kg, picked at 2026-03-20T10:00:05 taken back\n"
    assert "harvest         2026-04-01T08:00 0.3 kg" in spawnrun("vessel", "show", "K001", *FARM).out
    newest = spawnrun("harvest", "K001", "--undo", *FARM)  # nothing later was taken back: it is not asked about
    assert newest.out == "K001: 0.3 kg, picked at 2026-04-01T08:00 taken back\n"


def test_an_undo_of_a_step_that_names_another_time_is_refused(spawnrun: Spawnrun, blocks: Path) -> None:
    assert spawnrun("done", "K001", "--as", "fruiting", "--at", "2026-03-09", *FARM).code == 0
    other = spawnrun("done", "K001", "--undo", "--yes", "--at", "2026-03-10", *FARM)
    assert (other.code, other.out) == (2, "")
    assert "K001: moved to fruiting at 2026-03-09T00:00 was noted last, not one of 2026-03-10" in other.err
    back = spawnrun("done", "K001", "--undo", "--at", "2026-03-09", *FARM)
    assert back.out == "K001: moved to fruiting at 2026-03-09T00:00 taken back\n"


def test_what_needs_a_yes_is_said_in_one_line(spawnrun: Spawnrun, blocks: Path) -> None:
    """It is no invalid value of an option that was not given."""
    assert spawnrun("harvest", "K001", "--kg", "0.4", "--at", "2026-03-30", *FARM).code == 0
    older = spawnrun("harvest", "K001", "--undo", *FARM)
    assert older.err == "spawnrun: the harvest of K001 is of 2026-03-30; take it back? --yes says so\n"


def test_a_harvest_noted_twice_or_before_the_opening_is_remarked_on(spawnrun: Spawnrun, blocks: Path) -> None:
    assert spawnrun("done", "K001..K003", "--at", "2026-03-25", *FARM).code == 0
    first = ("harvest", "K001..K002", "--kg", "0.42", "--each", "--at", "2026-04-01T08:00", *FARM)
    assert "warning" not in spawnrun(*first).err
    again = spawnrun("harvest", "K001..K003", "--kg", "0.42", "--each", "--at", "2026-04-01T09:00", *FARM)
    assert again.code == 0
    said = "warning: the same weight of the same day is noted already: K001, K002, 0.42 kg at 2026-04-01T08:00;"
    assert f"{said} is it noted twice?" in again.err.splitlines()
    assert "warning" not in spawnrun("harvest", "K001", "--kg", "0.42", "--at", "2026-03-31T09:00", *FARM).err
    early = spawnrun("harvest", "K003", "--kg", "0.1", "--at", "2026-03-05", *FARM)
    assert "warning: picked before it was opened on 2026-03-25: K003; is the day right?" in early.err.splitlines()


def test_a_first_harvest_of_what_nobody_opened_is_remarked_on_once(spawnrun: Spawnrun, blocks: Path) -> None:
    assert spawnrun("event", "K001", "pins", "--at", "2026-03-25", *FARM).code == 0
    noted = spawnrun("harvest", "K001..K003", "--kg", "0.3", "--each", "--at", "2026-03-30", *FARM)
    assert "warning: never noted as opened for fruiting: K002, K003; is the id right?" in noted.err
    assert "`spawnrun event K002 K003 opened --at DAY`" in noted.err
    assert spawnrun("event", "K002", "K003", "opened", "--at", "2026-03-20", *FARM).code == 0
    assert "never noted" not in spawnrun("harvest", "K002", "--kg", "0.1", "--at", "2026-03-31", *FARM).err
    # A second harvest of what was never opened was remarked on at the first.
    assert spawnrun("event", "K003", "opened", "--remove", "--at", "2026-03-20", *FARM).code == 0
    assert "never noted" not in spawnrun("harvest", "K003", "--kg", "0.2", "--at", "2026-03-31", *FARM).err


def test_a_table_of_harvests_is_remarked_on_like_those_that_are_typed(spawnrun: Spawnrun, blocks: Path) -> None:
    Path("picked.csv").write_text("vessel,at,kg\nK001,2026-03-30T08:00,0.4\nK001,2026-03-30T09:00,0.4\n", "utf-8")
    taken = spawnrun("harvest", "--import", "picked.csv", *FARM)
    assert taken.out == "harvests: 2 added, 0 known already\n"
    assert "warning: the same weight of the same day is noted already: K001, 0.4 kg at 2026-03-30T09:00;" in taken.err
    assert "warning: never noted as opened for fruiting: K001;" in taken.err
    assert "warning" not in spawnrun("harvest", "--import", "picked.csv", *FARM).err  # nothing of it is new


def test_a_step_of_what_is_off_the_lists_says_what_took_it_off(spawnrun: Spawnrun, blocks: Path) -> None:
    assert spawnrun("done", "J001", "--at", "2026-03-28", *FARM).code == 0
    step = spawnrun("done", "J001", *FARM)
    words = "J001 is closed already (spawned on Sat 28 Mar 2026; `spawnrun done J001 --undo` takes that back)"
    assert step.err == f"spawnrun: {words}\n"
    assert spawnrun("vessel", "close", "K001", *FARM).code == 0
    closed = spawnrun("done", "K001", *FARM)
    assert closed.err == "spawnrun: K001 is closed already; `spawnrun vessel close K001 --reopen` takes that back\n"


def test_pins_of_what_is_not_for_fruiting_are_noted_with_a_warning(spawnrun: Spawnrun, blocks: Path) -> None:
    pins = spawnrun("event", "J001", "K001", "pins", *FARM)
    assert pins.code == 0
    assert "warning: not for fruiting, as its record or its substrate tells: J001" in pins.err.splitlines()
    assert "warning" not in spawnrun("event", "J001", "shaken", *FARM).err


def test_an_event_taken_back_without_its_time_is_told_which_there_are(spawnrun: Spawnrun, blocks: Path) -> None:
    for at in ("2026-03-28T10:00", "2026-03-30"):
        assert spawnrun("event", "J001", "shaken", "--at", at, *FARM).code == 0
    which = spawnrun("event", "J001", "shaken", "--remove", *FARM)
    words = "J001: shaken at 2026-03-28T10:00; J001: shaken at 2026-03-30T00:00; say which with --at"
    assert (which.code, which.err) == (2, f"spawnrun: {words}\n")
    assert spawnrun("event", "J001", "pins", "--remove", *FARM).err == "spawnrun: no 'pins' is noted of J001\n"
