"""Comparison of groups: means and tests against published examples, batches as units, cautions for small numbers."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from farm.outlook import Moments, Outlook
from farm.records import add_vessels, close_vessel
from farm.records.models import KeptReading, Vessel
from farm.store import Farm
from farm.study import compare_groups, compare_means
from growth.data import Curve, Forecast
from growth.data.models import Status
from tests.values import known

START = datetime(2026, 3, 1, tzinfo=UTC)
WORDS = ("less", "more")
# Student's sleep data (Student 1908, Biometrika 6: 1-25), as printed in the example of R's t.test: extra hours of sleep
# with two drugs; Welch t = -1.8608, df = 17.776, p-value = 0.07939.
FIRST = (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0)
SECOND = (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4)


def test_means_and_intervals_as_published() -> None:
    """R prints 0.75 and 2.33; for the first drug alone t = 1.3257 on 9 degrees of freedom, interval -0.530 to 2.030."""
    found = compare_means(FIRST, SECOND, 1, WORDS)
    assert found is not None
    assert found.mean == pytest.approx(0.75)
    assert (found.low, found.high) == pytest.approx((-0.5297804, 2.0297804), abs=1e-6)
    assert found.verdict == "cannot be told apart", "p = 0.079"


def test_the_number_of_comparisons_is_considered() -> None:
    shifted = [one + 0.5 for one in SECOND]  # p = 0.0249 by the same test
    assert known(compare_means(FIRST, shifted, 1, WORDS)).verdict == "less"
    assert known(compare_means(shifted, FIRST, 1, WORDS)).verdict == "more"
    assert known(compare_means(FIRST, shifted, 4, WORDS)).verdict == "cannot be told apart"


def test_one_unit_has_no_interval_and_none_has_no_mean() -> None:
    alone = compare_means([3.0], [1.0, 2.0], 2, WORDS)
    assert alone is not None
    assert (alone.mean, alone.low, alone.high, alone.verdict) == (3.0, None, None, "cannot be told apart")
    assert compare_means([], [1.0], 2, WORDS) is None


def outlook(number: int, batch: str, species: str, days: float, status: Status = "ready", **more: Any) -> Outlook:
    vessel = Vessel(f"V{number}", "block", START, species=species, batch=batch, **more)
    reading = KeptReading("x", f"{number}", 0, START + timedelta(days=9), "camera", "ok", vessel.id, percent=50.0)
    curve = Curve((0.0, 10.0, 20.0), (0.0, 60.0, 99.0), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0))
    none = Moments(None, None, None)
    forecast = Forecast(vessel.id, status, through_median=days, curve=curve)
    return Outlook(vessel, (), forecast, none, none, last=reading, n_readings=1)


def test_the_units_are_batches_not_vessels(farm: Farm) -> None:
    shelf = [outlook(n, "A", "oyster", 12.0 + n % 5 / 2) for n in range(20)]
    shelf += [outlook(20 + n, "B", "shiitake", 30.0 + n % 5 / 2) for n in range(20)]
    oyster, shiitake = compare_groups(farm, shelf, "species")
    days = known(oyster.days)
    assert (oyster.n_vessels, oyster.n_batches, days.units, days.low) == (20, 1, 1, None)
    assert days.verdict == "cannot be told apart"
    assert "one batch only: cannot be told from that batch's luck" in oyster.cautions
    more = [replace(one, vessel=replace(one.vessel, batch=f"{one.vessel.batch}{n % 5}")) for n, one in enumerate(shelf)]
    oyster, shiitake = compare_groups(farm, more, "species")
    days = known(oyster.days)
    assert (days.units, days.verdict) == (5, "faster than the others")
    assert known(shiitake.days).verdict == "slower than the others"
    assert known(days.low) < days.mean < known(days.high)
    assert known(oyster.percent_per_day).mean == pytest.approx(6.0)
    assert oyster.cautions == ()


def test_contaminated_and_stalled_vessels_do_not_count_for_the_pace(farm: Farm) -> None:
    for number in range(3):
        add_vessels(farm, [Vessel(f"V{number}", "block", START, species="oyster", batch="A")])
    close_vessel(farm, "V1", state="contaminated")
    shelf = [outlook(0, "A", "oyster", 12), outlook(1, "A", "oyster", 99), outlook(2, "A", "oyster", 99, "stalled")]
    shelf[1] = replace(shelf[1], vessel=replace(shelf[1].vessel, state="contaminated"))
    (one,) = compare_groups(farm, [*shelf, outlook(3, "A", "blue oyster", 14, "colonising")], "batch")
    assert (one.n_contaminated, one.n_stalled, one.n_forecast, one.n_vessels) == (1, 1, 1, 4)
    assert known(one.days).mean == pytest.approx((12 * 14) ** 0.5), "a geometric mean"
    # Wilson's interval of 1 in 4 (Wilson 1927): 4.6 % to 69.9 %
    assert (one.share, one.low, one.high) == pytest.approx((0.25, 0.0456, 0.6994), abs=1e-3)
    assert one.cautions == ("only 4 vessels",) or one.cautions == ("only 4 vessels", "several species")


def test_small_numbers_of_vessels_and_batches_have_a_caution(farm: Farm) -> None:
    """Fewer than ten vessels, and fewer than three batches."""
    shelf = [outlook(n, "ABC"[n % 3], "oyster", 12.0 + n / 9) for n in range(10)]
    (enough,) = compare_groups(farm, shelf, "species")
    assert enough.cautions == ()
    (fewer,) = compare_groups(farm, shelf[:9], "species")
    assert fewer.cautions == ("only 9 vessels",)
    (two,) = compare_groups(farm, [outlook(n, "AB"[n % 2], "oyster", 12.0 + n / 9) for n in range(10)], "species")
    assert two.cautions == ("only 2 batches",)


def test_synonyms_are_one_group_and_kinds_are_separate(farm: Farm) -> None:
    shelf = [outlook(0, "", "oyster", 12, source="jar-1"), outlook(1, "", "Pleurotus ostreatus", 12, source="JAR-1")]
    assert [one.n_vessels for one in compare_groups(farm, shelf, "species")] == [2]
    assert [one.group for one in compare_groups(farm, shelf, "source")] == ["JAR-1"]
    assert compare_groups(farm, shelf, "batch") == []
    apart = [shelf[0], replace(shelf[1], vessel=replace(shelf[1].vessel, kind="jar"))]
    assert [one.kind for one in compare_groups(farm, apart, "species")] == ["jar", "block"]


def test_spawn_is_not_compared_with_fruiting_vessels(farm: Farm) -> None:
    """Bags of grain are quicker than bags of sawdust."""
    pairs = [
        (outlook(n, f"G{n}", "oyster", 10.0 + n / 9), outlook(9 + n, f"S{n}", "oyster", 30.0 + n)) for n in range(5)
    ]
    shelf = [
        replace(one, vessel=replace(one.vessel, kind="bag", substrate=substrate))
        for pair in pairs
        for one, substrate in zip(pair, ("rye grain", "sawdust"), strict=True)
    ]
    found = compare_groups(farm, shelf, "species")
    assert [(one.kind, one.used_for, one.n_vessels) for one in found] == [("bag", "spawn", 5), ("bag", "fruiting", 5)]
    assert {known(one.days).verdict for one in found} == {"cannot be told apart"}
    same = [replace(one, vessel=replace(one.vessel, use="fruiting")) for one in shelf]
    grain, sawdust = sorted(compare_groups(farm, same, "substrate"), key=lambda one: one.group)
    assert (known(grain.days).verdict, known(sawdust.days).verdict) == (
        "faster than the others",
        "slower than the others",
    )


def test_vessels_without_a_batch_that_were_made_together_are_one_unit(farm: Farm) -> None:
    """Bags of one jar and day share its luck; counted one by one they would pass for as many trials."""
    shelf = [outlook(n, "", "oyster", 12.0 + n % 5 / 2, source="J001") for n in range(20)]
    shelf += [outlook(20 + n, "", "shiitake", 30.0 + n % 5 / 2, source="j002") for n in range(20)]
    found = {one.group: one for one in compare_groups(farm, shelf, "species")}
    assert [one.n_batches for one in found.values()] == [1, 1]
    assert "one batch only: cannot be told from that batch's luck" in found["oyster"].cautions
    apart = [outlook(n, "", "oyster", 12.0) for n in range(3)]
    (alone,) = compare_groups(farm, apart, "species")
    assert alone.n_batches == 3, "nothing says that they were made together"
