"""Lineage, siblings, and rates; one of three is not called a trend."""

from pathlib import Path

import pytest

from farm.records import close_vessel, import_vessels
from farm.store import Farm
from farm.study import Kinship, kinship_of, rate_interval, trace_vessel

LINEAGE = """\
id,kind,inoculated,batch,source
P1,plate,2026-02-01,,culture 7
J1,jar,2026-02-10,A,P1
J2,jar,2026-02-10,A,P1
B1,bag,2026-03-01,B,J1
B2,bag,2026-03-01,B,J1
B3,bag,2026-03-01,B,J2
B4,bag,2026-03-05,C,J2
X1,bag,2026-03-01,,
"""


@pytest.fixture
def line(farm: Farm, tmp_path: Path) -> Farm:
    source = tmp_path / "lineage.csv"
    source.write_text(LINEAGE)
    import_vessels(farm, source)
    return farm


#: Newcombe 1998, Statistics in Medicine 17: 857-872, table I, method 3 (Wilson's score interval without correction),
#: 95 %, to four digits; from memory.
NEWCOMBE = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]


@pytest.mark.parametrize(("count", "of", "low", "high"), NEWCOMBE)
def test_the_interval_equals_wilsons_as_published(count: int, of: int, low: float, high: float) -> None:
    assert rate_interval(count, of) == pytest.approx((low, high), abs=5e-5)


def test_up_and_down_the_lineage(line: Farm) -> None:
    trace = trace_vessel(line, "j1")
    assert [(kin.vessel.id, kin.steps) for kin in trace.above] == [("P1", -1)]
    assert [(kin.vessel.id, kin.steps) for kin in trace.below] == [("B1", 1), ("B2", 1)]
    assert trace.origin == "culture 7"
    deep = trace_vessel(line, "P1")
    assert [(kin.vessel.id, kin.steps) for kin in deep.below] == [
        ("J1", 1), ("J2", 1), ("B1", 2), ("B2", 2), ("B3", 2), ("B4", 2),
    ]  # fmt: skip


def test_siblings_are_listed_with_what_they_share(line: Farm) -> None:
    trace = trace_vessel(line, "B1")
    assert [(kin.vessel.id, kin.shares) for kin in trace.siblings] == [
        ("B2", ("source", "batch", "day")),
        ("B3", ("batch", "day")),
        ("X1", ("day",)),
    ]


def test_a_circular_source_ends_the_search(farm: Farm, tmp_path: Path) -> None:
    source = tmp_path / "ring.csv"
    source.write_text("id,kind,inoculated,source\nA,jar,2026-03-01,B\nB,jar,2026-03-01,A\n")
    import_vessels(farm, source)
    trace = trace_vessel(farm, "A")
    assert [kin.vessel.id for kin in trace.above] == ["B"]
    assert [kin.vessel.id for kin in trace.below] == ["B"]


def test_one_of_two_is_not_called_a_trend(line: Farm) -> None:
    close_vessel(line, "B1", state="contaminated")
    shared = {rate.what: (rate.name, rate.contaminated, rate.vessels) for rate in trace_vessel(line, "B2").shared}
    assert shared == {"source": ("J1", 1, 2), "batch": ("B", 1, 3), "day": ("2026-03-01", 1, 4)}
    rates = {rate.name: rate for rate in trace_vessel(line, "B1").rates}
    assert (rates["J1"].contaminated, rates["J1"].vessels, rates["J1"].verdict) == (1, 2, "cannot be told apart")
    assert rates["J1"].low < 0.1
    assert rates["J1"].high > 0.9


def test_a_shelf_may_be_shared_and_its_case_does_not_matter(farm: Farm, tmp_path: Path) -> None:
    source = tmp_path / "shelves.csv"
    source.write_text(
        "id,kind,inoculated,shelf\nA,bag,2026-03-01,Rack 2\nB,bag,2026-03-05,rack 2\nC,bag,2026-03-09,Rack 3\n"
    )
    import_vessels(farm, source)
    close_vessel(farm, "B", state="contaminated")
    found = trace_vessel(farm, "A")
    assert [(kin.vessel.id, kin.shares) for kin in found.siblings] == [("B", ("shelf",))]
    assert [(rate.what, rate.contaminated, rate.vessels) for rate in found.shared] == [("day", 0, 1), ("shelf", 1, 2)]


def test_nine_of_ten_against_none_of_twenty_is_reported(farm: Farm, tmp_path: Path) -> None:
    rows = [f"A{n},bag,2026-03-01,SICK" for n in range(10)] + [f"C{n},bag,2026-03-01,SOUND" for n in range(20)]
    source = tmp_path / "many.csv"
    source.write_text("\n".join(["id,kind,inoculated,source", *rows]))
    import_vessels(farm, source)
    for n in range(9):
        close_vessel(farm, f"A{n}", state="quarantined")
    first, second = trace_vessel(farm, "A0").rates
    assert (first.name, first.verdict) == ("SICK", "more than the others")
    assert (second.name, second.verdict) == ("SOUND", "fewer than the others")


def test_the_kin_alone_are_those_of_the_trace(line: Farm) -> None:
    """As a page asks for them, without the rates."""
    for vessel in ("p1", "j1", "b3", "x1"):
        whole, kin = trace_vessel(line, vessel), kinship_of(line, vessel)
        assert kin == Kinship(whole.vessel, whole.contaminated, whole.above, whole.below, whole.siblings, whole.origin)
