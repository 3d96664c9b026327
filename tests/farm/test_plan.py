"""Plans on a farm whose vessels are certainly ready or certainly not, so the arithmetic can be done by hand."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from scipy.stats import beta

from calibration import find_species
from farm.lists import list_today
from farm.measure import Vision, measure_paths
from farm.outlook import list_outlooks
from farm.plan import make_plan, parse_target, plan_target
from farm.plan.back_scheduling import _losses
from farm.records import add_event, add_vessels, close_vessel, import_vessels, moment
from farm.records.models import Vessel
from farm.review import give_verdict, review_items, vessels_to_look_at
from farm.store import Farm, create_farm, to_instant
from farm.store.errors import PlanError
from tests.farm.painted import paint
from tests.values import known

# Inoculated so long ago that they are ready in every draw, except one jar and one plate of today.
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
def shelf(tmp_path: Path, vision: Vision):
    """Each vessel has a reading, since only those are counted."""
    with create_farm(tmp_path / "shelf") as farm:
        table = tmp_path / "v.csv"
        table.write_text(VESSELS)
        import_vessels(farm, table)
        photos = tmp_path / "photos"
        paint(photos / "20250801_1000.png", *((one, 100) for one in ("P1", "J1", "J2", "K1", "K2", "S1")))
        paint(photos / "20260301_1000.png", ("P2", 0), ("J3", 0))
        measure_paths(farm, [photos], vision=vision)
        yield farm.at(to_instant(moment(NOW), farm.zone))


def first(plan, part: str, what: str, species: str = "oyster"):
    return next(line for line in plan.part(part) if line.amount.what == what and line.species == species)


def test_ready_vessels_and_their_expansion(shelf: Farm) -> None:
    plan = make_plan(shelf, [])
    plates = first(plan, "ready", "vessels of culture")
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


def test_grain_may_be_expanded_to_grain(shelf: Farm) -> None:
    plan = make_plan(shelf, [], grain_use="grain")
    assert {line.amount.what for line in plan.part("prepare")} == {"rye grain"}


def test_vessels_to_look_at_are_not_counted(shelf: Farm) -> None:
    plan = make_plan(shelf, ["J2", "S1"], species="oyster")
    assert first(plan, "ready", "vessels of spawn").amount.band.median == 1
    assert (plan.left_out, plan.unread) == (("J2", "S1"), ())


def test_a_confirmed_stall_is_neither_counted_nor_to_look_at(farm: Farm, tmp_path: Path, vision: Vision) -> None:
    """A jar that stopped at 45 % in its second week, with photos of four more weeks."""
    start = to_instant(moment("2026-01-20"), farm.zone)
    add_vessels(farm, [Vessel("X1", "jar", start, "oyster", "rye grain")])
    for day, percent in ((4, 5), (6, 20), (8, 35), (10, 44), *((day, 45) for day in range(12, 40, 3))):
        # An unknown label makes the photos differ, since equal ones are read once.
        when = date(2026, 1, 20) + timedelta(days=day)
        paint(tmp_path / "slow" / f"{when:%Y%m%d}_1000.png", ("X1", percent), ("N0", day))
    measure_paths(farm, [tmp_path / "slow"], vision=vision)
    then = farm.at(to_instant(moment(NOW), farm.zone))
    open_items = review_items(then, list_outlooks(then))
    assert [(item.vessel, item.subject) for item in open_items] == [("X1", "stall")]
    give_verdict(then, open_items, "X1", "confirmed")
    outlooks = list_outlooks(then)
    plan = make_plan(then, vessels_to_look_at(review_items(then, outlooks)))
    assert (plan.left_out, plan.stalled, plan.unread, plan.lines) == ((), ("X1",), (), ())
    (item,) = list_today(then, outlooks)
    assert item.next_step == "discard it, or give it more time"


def test_vessels_with_an_assumed_use_are_named(shelf: Farm, tmp_path: Path, vision: Vision) -> None:
    bags(shelf, tmp_path, vision, "B1,bag,2025-06-01,oyster,,", "B2,bag,2025-06-01,oyster,mix no. 7,fruiting")
    assert [(one.id, one.used_for) for one in make_plan(shelf, []).assumed] == [("B1", "spawn")]


def test_vessels_without_a_reading_are_not_counted(shelf: Farm) -> None:
    """But places of a fruiting vessel are occupied, since a person opened it."""
    start = to_instant(moment("2025-06-01"), shelf.zone)
    before = make_plan(shelf, [])
    add_vessels(shelf, [Vessel("J9", "jar", start, "oyster", "rye grain"), Vessel("K9", "block", start, "oyster")])
    plan = make_plan(shelf, [])
    assert (before.unread, plan.unread) == ((), ("J9", "K9"))
    assert (plan.part("ready"), plan.part("prepare")) == (before.part("ready"), before.part("prepare"))
    made = plan_target(shelf, parse_target("3 oyster blocks by 2026-06-02"), [])
    assert (made.running, made.unread) == (2, ("J9", "K9"))
    assert plan_target(shelf, parse_target("3 oyster blocks by 2026-06-02"), [], anew=True).unread == ()
    add_event(shelf, "K9", "opened", to_instant(moment("2026-02-27T12:00"), shelf.zone))
    opened = make_plan(shelf, [])
    assert opened.unread == ("J9",)
    places = [one.part("places")[0].amount.band.median for one in (before, opened)]
    assert places == [3, 4], "what is ready and not opened yet will take its place from now on"


def bags(shelf: Farm, tmp_path: Path, vision: Vision, *rows: str) -> None:
    """Add bags that are certainly through, as rows of vessels.csv."""
    table = tmp_path / "bags.csv"
    table.write_text("\n".join(["id,kind,inoculated,species,substrate,use", *rows]))
    import_vessels(shelf, table)
    paint(tmp_path / "bags" / "20250802_1000.png", *((row.split(",")[0], 100) for row in rows))
    measure_paths(shelf, [tmp_path / "bags"], vision=vision)


def test_a_bag_of_sawdust_is_for_fruiting_and_a_bag_of_grain_is_spawn(
    shelf: Farm, tmp_path: Path, vision: Vision
) -> None:
    rows = ("B1,bag,2025-06-01,king oyster,oak sawdust,", "B2,bag,2025-06-01,king oyster,millet,")
    bags(shelf, tmp_path, vision, *rows)
    plan = make_plan(shelf, [], species="king_oyster")
    fruit = first(plan, "ready", "vessels to fruit", "king_oyster").amount.band
    spawn = first(plan, "ready", "vessels of spawn", "king_oyster")
    assert (fruit.low, fruit.high) == (1, 1)
    assert (spawn.amount.band.low, spawn.amount.band.high) == (1, 1)
    # 2 kg of spawn at the species' rate are enough for so many bags of 2 kg: this farm fruits king oyster in bags
    rate = known(find_species("king oyster")).spawn_rate_percent.value
    assert [(one.what, one.band.median) for one in spawn.makes] == [("bags", 100 // rate), ("bags of grain", 10)]
    assert first(plan, "prepare", "oak sawdust", "king_oyster").amount.band.median == pytest.approx(200 / rate)


def test_the_use_in_the_record_overrides_the_substrate(shelf: Farm, tmp_path: Path, vision: Vision) -> None:
    rows = ("B1,bag,2025-06-01,shiitake,sawdust,spawn", "B2,bag,2025-06-01,shiitake,rye grain,fruiting")
    bags(shelf, tmp_path, vision, *rows)
    plan = make_plan(shelf, [], species="shiitake")
    assert first(plan, "ready", "vessels of spawn", "shiitake").amount.band.median == 1
    assert first(plan, "ready", "vessels to fruit", "shiitake").amount.band.median == 2, "with S1"


@pytest.mark.parametrize(
    ("goal", "use", "substrate", "assumed"),
    [
        ("20 oyster bags on sawdust by 2026-09-01", "fruiting", "sawdust", False),
        ("20 oyster bags on rye grain by 2026-09-01", "spawn", "rye grain", False),
        ("20 oyster bags for fruiting by 2026-09-01", "fruiting", "straw", False),
        ("20 oyster bags for spawn by 2026-09-01", "spawn", "grain", False),
        ("20 king oyster bags for fruiting by 2026-09-01", "fruiting", "sawdust", False),
        ("20 king oyster bags by 2026-09-01", "spawn", "", True),
    ],
)
def test_the_use_of_a_goal_follows_from_its_words_or_its_substrate(
    shelf: Farm, goal: str, use: str, substrate: str, assumed: bool
) -> None:
    made = plan_target(shelf, parse_target(goal), [], anew=True)
    assert (made.target.use, made.target.substrate, made.assumed) == (use, substrate, assumed)
    last = made.steps[-1]
    assert (last.kind, last.substrate) == ("bag", substrate or "grain")
    assert [step.kind for step in made.steps] == (["plate", "bag"] if use == "spawn" else ["plate", "jar", "bag"])


def test_the_use_of_a_goal_without_a_substrate_follows_from_the_farm(
    shelf: Farm, tmp_path: Path, vision: Vision
) -> None:
    bags(shelf, tmp_path, vision, *(f"B{n},bag,2025-06-01,oyster,sawdust," for n in range(3)))
    made = plan_target(shelf, parse_target("20 oyster bags by 2026-09-01"), [])
    assert (made.target.use, made.target.substrate, made.assumed, made.running) == ("fruiting", "sawdust", False, 3)
    assert plan_target(shelf, parse_target("20 oyster bags for spawn by 2026-09-01"), []).running < 3


def test_spawn_of_unknown_weight_is_not_planned(shelf: Farm) -> None:
    with pytest.raises(PlanError, match="a plate is not planned for spawn: how much substrate it holds"):
        plan_target(shelf, parse_target("5 oyster plates on rye grain by 2026-09-01"), [])


def test_fruiting_places_fill_and_free_up_by_the_species_flushes(shelf: Farm) -> None:
    waiting = make_plan(shelf, []).part("places")[0]
    assert (waiting.day, waiting.amount.band.median) == (date(2026, 3, 1), 3), "ready for months, and not opened yet"
    for vessel in ("K1", "K2", "S1"):
        add_event(shelf, vessel, "opened", to_instant(moment("2026-02-27T12:00"), shelf.zone))
    lines = make_plan(shelf, [], days=60).part("places")
    assert [line.amount.band.median for line in lines] == [3, 1, 0]
    oyster, shiitake = known(find_species("oyster")), known(find_species("shiitake"))
    for line, species in zip(lines[1:], (oyster, shiitake), strict=True):
        held = species.first_harvest_days.value + (species.flushes.value - 1) * species.flush_interval_days.value
        assert (line.day - date(2026, 2, 27)).days == pytest.approx(held, abs=1)


def test_fruiting_vessels_do_not_wait_for_places(shelf: Farm) -> None:
    assert first(make_plan(shelf, []), "ready", "vessels to fruit").amount.band.median == 2
    add_event(shelf, "K1", "opened", to_instant(moment("2026-02-27T12:00"), shelf.zone))
    assert first(make_plan(shelf, []), "ready", "vessels to fruit").amount.band.median == 1
    assert plan_target(shelf, parse_target("2 oyster blocks by 2026-06-02"), []).running == 1


def test_a_lack_of_places_is_reported(shelf: Farm) -> None:
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


@pytest.mark.parametrize("day", ["12 Dec 2026", "December 12, 2026", "12.12.2026", "2026-12-12"])
def test_the_day_of_a_goal_is_written_as_any_other(day: str) -> None:
    assert parse_target(f"40 oyster blocks by {day}").by == date(2026, 12, 12)


def test_the_day_of_a_goal_has_the_order_of_the_farm() -> None:
    goal = "40 oyster blocks by 3/4/2027"
    assert parse_target(goal, "day first").by == date(2027, 4, 3)
    assert parse_target(goal, "month first").by == date(2027, 3, 4)
    with pytest.raises(PlanError, match="the day of the goal, '3/4/2027': is it 3 April or 4 March"):
        parse_target(goal)


def test_a_goal_of_a_mistyped_species_is_refused(shelf: Farm) -> None:
    with pytest.raises(PlanError, match="species 'oister' is not known; did you mean oyster"):
        plan_target(shelf, parse_target("40 oister blocks by 2026-12-12"), [])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("blocks soon", "say it as"),
        ("4 oyster blocks by May", "the day of the goal, 'May': not a date"),
        ("4 oyster blocks by 9999-12-31", "the day of the goal"),
        ("0 oyster blocks by 2026-12-12", "say it as"),
    ],
)
def test_invalid_goals_are_refused(text: str, said: str) -> None:
    with pytest.raises(PlanError, match=said):
        parse_target(text)


def test_a_goal_is_scheduled_back_from_running_spawn(shelf: Farm) -> None:
    made = plan_target(shelf, parse_target("4 oyster blocks by 2026-06-01"), ["K1", "K2"])
    assert made.can_be_met
    (step,) = made.steps
    # 4 and 10 % spare: 5 blocks, 12.5 kg of straw, 0.625 kg of spawn from running vessels
    assert (step.kind, step.vessels, step.kg) == ("block", 5, 12.5)
    assert "0.62 kg" in step.source
    assert step.begin < step.start_by < step.start_even < made.target.by
    assert plan_target(shelf, parse_target("2 oyster blocks by 2026-03-02"), []).running == 2


def test_a_goal_without_stock_is_scheduled_back_to_a_plate(shelf: Farm) -> None:
    made = plan_target(shelf, parse_target("40 oyster blocks by 2026-09-01"), [], anew=True)
    assert [step.kind for step in made.steps] == ["plate", "jar", "block"]
    begins = [step.start_by for step in made.steps]
    assert begins == sorted(begins)
    assert made.can_be_met
    jars = made.steps[1]
    # 44 blocks of 2.5 kg at 5 %: 5.5 kg of spawn, 11 jars, and a tenth to spare
    assert (made.steps[2].vessels, jars.vessels, jars.kg) == (44, 13, 6.5)


def test_losses_are_learned_from_vessels_whose_end_is_known(farm: Farm) -> None:
    """19 vessels are too few; 20 of which 4 were lost give Jeffreys' posterior of a share, beta(4.5, 16.5)."""
    ids = [f"B{number:03}" for number in range(21)]
    add_vessels(farm, [Vessel(one, "block", farm.now, species="oyster") for one in ids])
    for number, one in enumerate(ids[:19]):
        close_vessel(farm, one, state="contaminated" if number < 4 else "closed")
    share, words = _losses(farm, 4000)
    assert not share.any()
    assert words == "no losses are counted: set loss_percent in farm.toml; 10 % to spare"
    close_vessel(farm, ids[19])
    share, words = _losses(farm, 4000)
    assert words == "losses as in this farm so far: 4 of 20"
    posterior = beta(4.5, 16.5)
    assert share.mean() == pytest.approx(posterior.mean(), abs=4 * posterior.std() / 4000**0.5)
    assert share.std() == pytest.approx(posterior.std(), rel=0.05)


def test_a_goal_that_cannot_be_met_names_the_earliest_day(shelf: Farm) -> None:
    made = plan_target(shelf, parse_target("40 oyster blocks by 2026-03-20"), ["K1", "K2"])
    assert not made.can_be_met
    assert made.earliest is not None
    again = parse_target(f"40 oyster blocks by {made.earliest}")
    assert plan_target(shelf, again, ["K1", "K2"]).can_be_met
    assert made.at_most < 40
    with pytest.raises(PlanError, match="is past"):
        plan_target(shelf, parse_target("4 oyster blocks by 2026-02-01"), [])
