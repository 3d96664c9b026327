"""Plans on a farm whose vessels are surely ready or surely not: the arithmetic can be followed by hand."""

from datetime import date
from pathlib import Path

import pytest

from calibration import find_species
from farm.plan import make_plan, parse_target, plan_target
from farm.records import add_event, import_vessels, moment
from farm.store import Farm, create_farm, to_instant
from farm.store.errors import PlanError

# Inoculated so long ago that they are ready in every draw, but for one jar and one plate of today.
VESSELS = """\
id,kind,species,substrate,inoculated
P1,plate,oyster,agar,2025-06-01
P2,plate,oyster,agar,2026-03-01
J1,jar,oyster,rye grain,2025-06-01
J2,jar,blue oyster,rye grain,2025-06-01
J3,jar,oyster,rye grain,2026-03-01
K1,block,oyster,straw,2025-06-01
K2,block,oyster,straw,2025-06-01
S1,block,shiitake,sawdust,2025-06-01
"""
NOW = "2026-03-01T12:00"


@pytest.fixture
def shelf(tmp_path: Path):
    with create_farm(tmp_path / "shelf") as farm:
        table = tmp_path / "v.csv"
        table.write_text(VESSELS)
        import_vessels(farm, table)
        yield farm.at(to_instant(moment(NOW), farm.zone))


def first(plan, part: str, what: str, species: str = "oyster"):
    return next(line for line in plan.part(part) if line.amount.what == what and line.species == species)


def test_what_is_ready_today_and_what_it_makes(shelf: Farm) -> None:
    plan = make_plan(shelf, [])
    plates = first(plan, "ready", "plates of culture")
    assert (plates.day, plates.amount.band.low, plates.amount.band.high) == (date(2026, 3, 1), 1, 1)
    assert (plates.makes[0].what, plates.makes[0].band.median) == ("jars of grain", 10)
    spawn = first(plan, "ready", "vessels of spawn")
    assert spawn.amount.band.median == 2
    # 2 jars of 0.5 kg: at 5 % enough for 20 kg of straw, 8 blocks of 2.5 kg; or 1 to 10, 10 kg of grain in 20 jars
    assert [(one.what, one.band.median) for one in spawn.makes] == [("blocks", 8), ("jars of grain", 20)]
    straw = first(plan, "prepare", "straw")
    assert (straw.amount.unit, straw.amount.band.median, straw.how) == ("kg", 20, "pasteurise")
    assert (straw.begin, straw.day) == (date(2026, 2, 28), date(2026, 3, 1))
    grain = first(plan, "prepare", "rye grain")
    assert (grain.amount.band.median, grain.how) == (5, "soak and pressure-sterilise")


def test_later_days_carry_the_uncertainty(shelf: Farm) -> None:
    plan = make_plan(shelf, [], days=60)
    spawn = [line.amount.band for line in plan.part("ready") if line.amount.what == "vessels of spawn"]
    assert all(band.low <= band.median <= band.high for band in spawn)
    assert [band.low for band in spawn] == sorted(band.low for band in spawn)
    days = {
        end: next(
            line.day
            for line in plan.part("ready")
            if line.amount.what == "vessels of spawn" and getattr(line.amount.band, end) == 3
        )
        for end in ("low", "median", "high")
    }
    assert days["high"] < days["median"] < days["low"]
    # oyster in a jar of grain: 15 days (the species table)
    assert 13 <= (days["median"] - date(2026, 3, 1)).days <= 17


def test_grain_may_go_to_grain_instead(shelf: Farm) -> None:
    plan = make_plan(shelf, [], grain_use="grain")
    assert {line.amount.what for line in plan.part("prepare")} == {"rye grain"}


def test_what_needs_a_look_is_not_counted(shelf: Farm) -> None:
    plan = make_plan(shelf, ["J2", "S1"], species="oyster")
    assert first(plan, "ready", "vessels of spawn").amount.band.median == 1
    assert plan.left_out == ("J2", "S1")


def test_fruiting_places_fill_and_free_up_by_the_species_flushes(shelf: Farm) -> None:
    assert not make_plan(shelf, []).part("places"), "all three are through with their flushes long ago"
    for vessel in ("K1", "K2", "S1"):
        add_event(shelf, vessel, "opened", to_instant(moment("2026-02-27T12:00"), shelf.zone))
    lines = make_plan(shelf, [], days=60).part("places")
    assert [line.amount.band.median for line in lines] == [3, 1, 0]
    oyster, shiitake = find_species("oyster"), find_species("shiitake")
    for line, species in zip(lines[1:], (oyster, shiitake), strict=True):
        held = species.first_harvest_days.value + (species.flushes.value - 1) * species.flush_interval_days.value
        assert (line.day - date(2026, 2, 27)).days == pytest.approx(held, abs=1)


def test_what_fruits_already_does_not_wait_for_it(shelf: Farm) -> None:
    assert first(make_plan(shelf, []), "ready", "blocks to fruit").amount.band.median == 2
    add_event(shelf, "K1", "opened", to_instant(moment("2026-02-27T12:00"), shelf.zone))
    assert first(make_plan(shelf, []), "ready", "blocks to fruit").amount.band.median == 1
    assert plan_target(shelf, parse_target("2 oyster blocks by 2026-06-02"), []).running == 1


def test_more_places_wanted_than_there_are_is_reported(shelf: Farm) -> None:
    for vessel in ("K1", "K2"):
        add_event(shelf, vessel, "opened", to_instant(moment("2026-02-27T12:00"), shelf.zone))
    plan = shelf.settings.plan.model_copy(update={"fruiting_places": 1})
    small = Farm(shelf.folder, shelf.engine, shelf.settings.model_copy(update={"plan": plan}))
    assert make_plan(small, []).full_on == date(2026, 3, 1)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("40 oyster blocks for fruiting by 2026-12-12", (40, "oyster", "block", "")),
        ("1 king oyster jar by 2026-12-12", (1, "king oyster", "jar", "")),
        ("12 Lion's mane bags on hardwood sawdust by 2026-12-12", (12, "Lion's mane", "bag", "hardwood sawdust")),
    ],
)
def test_goals_as_people_write_them(text: str, found: tuple[object, ...]) -> None:
    target = parse_target(text)
    assert (target.wanted, target.species, target.kind, target.substrate) == found
    assert target.by == date(2026, 12, 12)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("blocks soon", "say it as"),
        ("4 oyster blocks by May", "not a day"),
        ("4 oyster blocks by 9999-12-31", "not a day"),
        ("0 oyster blocks by 2026-12-12", "say it as"),
    ],
)
def test_goals_that_cannot_be_understood(text: str, said: str) -> None:
    with pytest.raises(PlanError, match=said):
        parse_target(text)


def test_a_goal_is_worked_back_from_spawn_that_runs(shelf: Farm) -> None:
    made = plan_target(shelf, parse_target("4 oyster blocks by 2026-06-01"), ["K1", "K2"])
    assert made.can_be_met
    (step,) = made.steps
    # 4 and a tenth to spare: 5 blocks, 12.5 kg of straw, 0.625 kg of spawn from what runs
    assert (step.kind, step.vessels, step.kg) == ("block", 5, 12.5)
    assert "0.62 kg" in step.source
    assert step.begin < step.start_by < step.start_even < made.target.by
    assert plan_target(shelf, parse_target("2 oyster blocks by 2026-03-02"), []).running == 2


def test_a_goal_from_nothing_goes_back_to_a_plate(shelf: Farm) -> None:
    made = plan_target(shelf, parse_target("40 oyster blocks by 2026-09-01"), [], anew=True)
    assert [step.kind for step in made.steps] == ["plate", "jar", "block"]
    begins = [step.start_by for step in made.steps]
    assert begins == sorted(begins)
    assert made.can_be_met
    jars = made.steps[1]
    # 44 blocks of 2.5 kg at 5 %: 5.5 kg of spawn, 11 jars, and a tenth to spare
    assert (made.steps[2].vessels, jars.vessels, jars.kg) == (44, 13, 6.5)


def test_a_goal_that_cannot_be_met_says_when_it_can(shelf: Farm) -> None:
    made = plan_target(shelf, parse_target("40 oyster blocks by 2026-03-20"), ["K1", "K2"])
    assert not made.can_be_met
    assert made.earliest is not None
    again = parse_target(f"40 oyster blocks by {made.earliest}")
    assert plan_target(shelf, again, ["K1", "K2"]).can_be_met
    assert made.at_most < 40
    with pytest.raises(PlanError, match="is past"):
        plan_target(shelf, parse_target("4 oyster blocks by 2026-02-01"), [])
