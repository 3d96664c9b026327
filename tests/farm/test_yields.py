"""Yields by group with their intervals, losses by stage and reason, and the weight that a plan expects."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from farm.fruiting import VesselYield, dry_weight_kg, moisture_percent, record_harvest, vessel_yields
from farm.outlook import list_outlooks
from farm.plan import make_plan
from farm.plan.fruiting_ahead import drawn, widened
from farm.records import add_vessels, chosen_vessels, close_vessel, list_vessels, mark_done
from farm.records.models import Vessel
from farm.store import Farm, create_farm, open_farm
from farm.study import LossBy, YieldBy, compare_groups, group_fates, loss_groups, vessel_fates, yield_groups
from tests.values import known

START = datetime(2026, 3, 1, 8, tzinfo=UTC)
OPENED = START + timedelta(days=20)
#: 2.5 kg of sawdust with 60 % of water.
DRY_KG = 1.0


def on(day: float) -> datetime:
    """A moment so many days after the blocks were opened."""
    return OPENED + timedelta(days=day)


def pick(farm: Farm, vessel: str, *kilos: float) -> None:
    """Flushes of 8 days each, the first after 8 days."""
    for number, kg in enumerate(kilos):
        day = on(8 + 8 * number)
        record_harvest(farm.at(day), chosen_vessels(farm, [vessel]), kg, day)


def grow(farm: Farm, batches: dict[str, list[tuple[float, ...]]], species: str = "oyster") -> Farm:
    """Blocks of each batch with the weights of their flushes; their time is over."""
    number = len(list_vessels(farm))
    for batch, blocks in batches.items():
        for kilos in blocks:
            number += 1
            made = Vessel(
                f"K{number:03}", "block", START, species, "sawdust", batch=batch, source="JAR-1", contents_kg=2.5
            )
            add_vessels(farm, [made])
            mark_done(farm, [made], OPENED)
            pick(farm, made.id, *kilos)
    return farm.at(on(60))


TWO: dict[str, list[tuple[float, ...]]] = {"ONE": [(0.5, 0.2), (0.6, 0.3)], "TWO": [(0.4, 0.1), (0.3,)]}


def test_a_yield_is_compared_with_the_dry_weight_of_contents_and_moisture(farm: Farm) -> None:
    done = grow(farm, {"ONE": [(0.5, 0.25)]})
    (one,) = vessel_yields(done, list_vessels(done))
    assert (one.fresh_kg, one.dry_kg, one.efficiency_percent) == (0.75, DRY_KG, 75.0)
    assert one.flush_kg == {1: 0.5, 2: 0.25}
    (farm.folder / "farm.toml").write_text(
        '[plan]\ncontents_kg = {bag = 2}\n[moisture_percent]\nstraw = 75\n"masters mix" = 50\n', "utf-8"
    )
    with open_farm(farm.folder) as own:
        kinds = {"wheat straw": 0.5, "Masters Mix": 1.0, "oak sawdust": 0.8, "coffee": 0.8}
        for substrate, dry in kinds.items():
            assert dry_weight_kg(own, Vessel("B1", "bag", START, substrate=substrate)) == pytest.approx(dry)
        assert moisture_percent(own, "straw") == (75, "this farm's settings")
        assert moisture_percent(own, "sawdust") == (60, "common practice, no source")
        assert dry_weight_kg(own, Vessel("P1", "plate", START, substrate="agar")) is None


def test_means_are_over_batches_with_students_interval(farm: Farm) -> None:
    done = grow(farm, TWO)
    (oyster,) = yield_groups(done, "species")
    assert (oyster.group, oyster.n_vessels, oyster.n_finished, oyster.n_batches) == ("oyster", 4, 4, 2)
    assert oyster.fresh_kg == pytest.approx(2.4)
    assert oyster.flush_kg == pytest.approx({1: 1.8, 2: 0.6})
    # Batch means of 80 % and 40 %; with one degree of freedom the half interval is t(0.975) times 28.28 / sqrt(2).
    reach = float(stats.t.ppf(0.975, 1)) * 20.0
    efficiency = known(oyster.efficiency)
    assert efficiency.mean == pytest.approx(60.0)
    assert efficiency.units == 2
    assert efficiency.high == pytest.approx(60 + reach)
    assert efficiency.low == 0.0, "no yield is below nothing"
    assert oyster.cautions == ("only 2 batches finished", "only 4 vessels finished")


def test_within_a_batch_its_vessels_are_the_trials(farm: Farm) -> None:
    done = grow(farm, TWO)
    one, two = yield_groups(done, "batch")
    assert [one.group, two.group] == ["ONE", "TWO"]
    # 70 % and 90 %: half interval t(0.975; 1) times 14.14 / sqrt(2) = 127.06 points
    assert known(one.efficiency).mean == pytest.approx(80)
    assert known(one.efficiency).high == pytest.approx(207.06, abs=0.01)
    assert known(one.kg_each).mean == pytest.approx(0.8)


def test_vessels_weighed_together_are_one_trial(farm: Farm) -> None:
    done = grow(farm, {"ONE": [(), (), ()]})
    record_harvest(done.at(on(8)), chosen_vessels(done, ["K001", "K002"]), 1.0, on(8), weighed_together=True)
    pick(done, "K003", 0.3)
    (one,) = yield_groups(done, "batch")
    assert known(one.efficiency).units == 2
    assert known(one.efficiency).mean == pytest.approx(40.0)
    assert "weighed together: equal shares" in one.cautions


def test_by_flush_what_a_finished_vessel_never_bore_counts_as_nothing(farm: Farm) -> None:
    done = grow(farm, TWO)
    first, second = yield_groups(done, "flush")
    assert (first.group, first.n_finished) == ("flush 1", 4)
    assert first.fresh_kg == pytest.approx(1.8)
    assert (second.group, second.n_harvests) == ("flush 2", 3)
    # Batch means of the second flush: 0.25 and 0.05 kg.
    assert known(second.kg_each).mean == pytest.approx(0.15)


@pytest.mark.parametrize("by", ["vessel", "batch", "strain", "species", "source", "substrate"])
def test_each_way_of_grouping_has_all_the_weight(farm: Farm, by: YieldBy) -> None:
    done = grow(farm, TWO)
    grow(farm, {"THREE": [(0.2,)]}, species="blue oyster")
    groups = yield_groups(done, by)
    assert sum(one.fresh_kg for one in groups) == pytest.approx(2.6)
    names = {"strain": ["oyster", "blue oyster"], "species": ["oyster"], "source": ["JAR-1"], "substrate": ["sawdust"]}
    if by in names:
        assert [one.group for one in groups] == names[by]


def test_what_is_lost_early_does_not_count_before_the_others_are_finished(farm: Farm) -> None:
    """Else a batch that bears still would seem to yield nothing."""
    grow(farm, {"ONE": [(0.5,), (0.6,), ()]})
    now = farm.at(on(10))
    mark_done(now, chosen_vessels(now, ["K003"]), on(9), "thrown_out", why="green mould")
    (one,) = yield_groups(now, "batch")
    assert (one.n_finished, one.efficiency, one.cautions) == (0, None, ("none is finished",))
    # Oyster: 7 days to the first flush and three times 7.5 are over after 29.5 days.
    (later,) = yield_groups(farm.at(on(30)), "batch")
    assert later.n_finished == 3
    assert known(later.efficiency).mean == pytest.approx(110 / 3)
    mark_done(now, chosen_vessels(now, ["K001", "K002"]), on(10), "spent")
    (closed,) = yield_groups(now, "batch")
    assert closed.n_finished == 3, "none of the batch bears any more"


def test_comparisons_have_the_yield_of_what_has_fruited(farm: Farm) -> None:
    done = grow(farm, {f"A{n}": [(0.7 + n / 50,)] for n in range(4)})
    grow(farm, {f"B{n}": [(0.3 + n / 50,)] for n in range(4)}, species="shiitake")
    good, poor = sorted(
        compare_groups(done.at(on(200)), list_outlooks(done.at(on(200))), "species"), key=lambda one: one.group
    )
    assert (good.group, good.n_finished) == ("oyster", 4)
    assert known(good.efficiency).mean == pytest.approx(73.0)
    assert known(good.efficiency).verdict == "more than the others"
    assert known(poor.efficiency).verdict == "less than the others"
    early = compare_groups(done.at(on(9)), list_outlooks(done.at(on(9))), "species")
    assert [one.efficiency for one in early] == [None, None]


@pytest.fixture
def lost(farm: Farm) -> Farm:
    """Ten bags from JAR-1 and two from JAR-2, with all that can become of them; the jar was spawned."""
    bags = [Vessel(f"B{n:03}", "bag", START, "oyster", "sawdust", "ONE", "jar-1") for n in range(1, 9)]
    bags += [Vessel(f"B{n:03}", "bag", START, "oyster", "sawdust", "TWO", "JAR-2") for n in (9, 10)]
    add_vessels(farm, [*bags, Vessel("JAR-1", "jar", START - timedelta(days=15), "oyster", "rye grain")])
    now = farm.at(on(5))

    def chosen(*ids: str) -> list[Vessel]:
        return chosen_vessels(now, ids)

    mark_done(now, chosen("JAR-1"), START, "spawned")
    mark_done(now, chosen("B001..B004"), OPENED)
    mark_done(now, chosen("B001"), on(2), "thrown_out", why="green mould")
    mark_done(now, chosen("B005", "B006"), on(1), "thrown_out", why="green mould")
    mark_done(now, chosen("B007"), on(1), "thrown_out")
    record_harvest(now, chosen("B002", "B003"), 0.4, on(4))
    mark_done(now, chosen("B002"), on(5), "thrown_out")
    mark_done(now, chosen("B003"), on(5), "spent")
    close_vessel(now, "B009", at=on(1))
    close_vessel(now, "B010", state="contaminated", at=on(1))
    return now


def test_losses_are_told_by_stage_and_reason(lost: Farm) -> None:
    groups = {one.group: one for one in loss_groups(lost, list_outlooks(lost), "source")}
    one = groups["JAR-1"]
    assert one.fates == {"lost": 4, "fruited": 2, "running": 2}
    assert one.stages == {"never photographed": 3, "fruiting": 1}
    assert one.reasons == {"green mould": 3, "no reason given": 1}
    assert one.fresh_kg == pytest.approx(0.8)
    # Wilson's interval of 4 in 8 (Wilson 1927): 21.5 % to 78.5 %
    assert (one.share, one.low, one.high) == pytest.approx((0.5, 0.2152, 0.7848), abs=1e-4)
    assert groups["JAR-2"].fates == {"lost": 1, "closed": 1}
    assert groups["JAR-2"].reasons == {"no reason given": 1}


@pytest.mark.parametrize(
    ("by", "n_groups"), [("batch", 2), ("species", 1), ("strain", 1), ("substrate", 2), ("kind", 2)]
)
def test_losses_by_each_group_count_every_vessel(lost: Farm, by: LossBy, n_groups: int) -> None:
    groups = loss_groups(lost, list_outlooks(lost), by)
    assert len(groups) == n_groups
    assert sum(one.n_vessels for one in groups) == (10 if by == "batch" else 11)
    assert sum(one.n_lost for one in groups) == 5


def test_what_a_jar_of_spawn_became(lost: Farm) -> None:
    fates = vessel_fates(lost, [one for one in list_outlooks(lost) if one.vessel.source.upper() == "JAR-1"])
    assert group_fates("source", "JAR-1", fates).fates == {"lost": 4, "fruited": 2, "running": 2}
    (jar,) = [one for one in vessel_fates(lost, list_outlooks(lost)) if one.vessel.id == "JAR-1"]
    assert jar.fate == "used"


@pytest.fixture
def learned(tmp_path: Path) -> Iterator[Farm]:
    """Three batches of which every vessel yielded 50 % in its first flush, 20 % in its second, nothing in the third;
    and K010, opened two days ago."""
    with create_farm(tmp_path / "learned") as farm:
        grow(farm, {f"OLD{n}": [(0.5, 0.2), (0.5, 0.2), (0.5, 0.2)] for n in range(3)})
        at = on(58)
        for one in list_vessels(farm):
            mark_done(farm.at(on(40)), [one], on(40), "spent")
        add_vessels(farm, [Vessel("K010", "block", on(30), "oyster", "sawdust", contents_kg=5.0)])
        mark_done(farm.at(at), chosen_vessels(farm, ["K010"]), at)
        yield farm.at(on(60))


def test_a_plan_expects_the_weight_that_the_farm_has_harvested_before(learned: Farm) -> None:
    """2 kg of dry substrate, twice that of the others; flushes 8 days after it was opened and 8 days apart, as here."""
    plan = make_plan(learned, [], days=28)
    weeks = [(line.day, line.species, line.amount.unit) for line in plan.part("harvest")]
    today = on(60).date()
    assert weeks == [(today, "oyster", "kg"), (today + timedelta(days=14), "oyster", "kg")]
    weights = [line.amount.band for line in plan.part("harvest")]
    told = [end for one in weights for end in (one.low, one.median, one.high)]
    assert told == pytest.approx([1.0, 1.0, 1.0, 0.4, 0.4, 0.4])
    assert (plan.no_weight, plan.few_batches) == ((), ("oyster",)), "three batches are few"


def test_a_flush_that_was_picked_is_not_expected_again(learned: Farm) -> None:
    record_harvest(learned, chosen_vessels(learned, ["K010"]), 1.0, on(60))
    plan = make_plan(learned, [], days=28)
    assert [line.amount.band.median for line in plan.part("harvest")] == [pytest.approx(0.4)]


def test_places_are_taken_to_the_last_flush_as_the_farm_knows_it(learned: Farm) -> None:
    """8 days to the first flush, and twice 8 to the third: until day 58 + 24."""
    lines = make_plan(learned, [], days=40).part("places")
    assert [line.amount.band.median for line in lines] == [1, 0]
    assert abs((lines[1].day - on(82).date()).days) <= 1
    record_harvest(learned, chosen_vessels(learned, ["K010"]), 1.0, on(60))
    lines = make_plan(learned, [], days=40).part("places")
    assert abs((lines[1].day - on(76).date()).days) <= 1, "picked early: two more flushes of 8 days"


def test_no_weight_is_expected_without_harvests_of_the_species(learned: Farm) -> None:
    add_vessels(learned, [Vessel("S001", "block", on(30), "shiitake", "sawdust")])
    mark_done(learned, chosen_vessels(learned, ["S001"]), on(55))
    plan = make_plan(learned, [], days=28)
    assert plan.no_weight == ("shiitake",)
    assert {line.species for line in plan.part("harvest")} == {"oyster"}


def test_what_is_learned_from_few_batches_is_told(farm: Farm) -> None:
    grow(farm, {"ONE": [(0.5,), (0.9,), (0.1,)]})
    for one in list_vessels(farm):
        mark_done(farm.at(on(40)), [one], on(40), "spent")
    add_vessels(farm, [Vessel("K010", "block", on(30), "oyster", "sawdust", contents_kg=2.5)])
    mark_done(farm.at(on(58)), chosen_vessels(farm, ["K010"]), on(58))
    plan = make_plan(farm.at(on(60)), [], days=28)
    assert plan.few_batches == ("oyster",)
    band = plan.part("harvest")[0].amount.band
    assert (band.low, band.median, band.high) == pytest.approx((0.1, 0.5, 0.9))


def test_the_vessels_of_a_batch_share_its_luck_in_what_is_expected(farm: Farm) -> None:
    """Four batches of which all vessels yielded the same: ten blocks of a new one yield ten times one of these."""
    grow(farm, {f"OLD{n}": [(kg,), (kg,)] for n, kg in enumerate((0.2, 0.4, 0.6, 0.8))})
    for one in list_vessels(farm):
        mark_done(farm.at(on(40)), [one], on(40), "spent")
    made = [Vessel(f"N{n:03}", "block", on(30), "oyster", "sawdust", batch="NEW", contents_kg=2.5) for n in range(10)]
    add_vessels(farm, made)
    mark_done(farm.at(on(58)), made, on(58))
    (line,) = make_plan(farm.at(on(60)), [], days=7).part("harvest")
    band = line.amount.band
    # Their deviations from 0.5 are longer by the root of 5/3: 0.113 and 0.887.
    assert (band.low, band.high) == pytest.approx((1.127, 8.873), abs=1e-3)


def test_expected_weights_hold_four_times_in_five(tmp_path: Path) -> None:
    """Invented farms: batches differ by 20 %, vessels of a batch by 25 %; ten batches are known and two are to come.

    At a true share of 0.8 the interval of 80 % holds in 38 to 57 of 60 farms, in 99.8 % of cases (binomial).
    """
    random = np.random.default_rng(5)

    def batch(n_vessels: int) -> list[float]:
        return list(np.maximum(0.5 * random.normal(1, 0.2) * random.normal(1, 0.25, n_vessels), 0.0))

    held = 0
    for _ in range(60):
        past = [VesselYield(Vessel(f"P{n}{k}", "block", START, batch=f"P{n}"), {1: kg}, 1, 1.0, True, "")
                for n in range(10) for k, kg in enumerate(batch(8))]  # fmt: skip
        trials = [one.trial(by_vessel=False) for one in past]
        fresh = widened(np.array([[one.fresh_kg] for one in past]), trials)[:, 0]
        low, high = np.quantile(fresh[drawn(trials, ["A"] * 8 + ["B"] * 8, 800)].sum(axis=0), [0.1, 0.9])
        held += low <= sum(batch(8)) + sum(batch(8)) <= high
    assert 38 <= held <= 57


def test_blocks_without_a_batch_of_one_source_and_day_are_one_trial(farm: Farm) -> None:
    done = grow(farm, {"": [(1.0,), (0.9,), (0.8,)]})
    (oyster,) = yield_groups(done, "species")
    assert (oyster.n_finished, oyster.n_batches) == (3, 1)
    assert "one batch only: cannot be told from that batch's luck" in oyster.cautions
