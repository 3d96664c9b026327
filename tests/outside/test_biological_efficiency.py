"""Biological efficiency as a published trial reports it, through the farm's own records."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from farm.fruiting import biological_efficiency, record_harvest, vessel_yields
from farm.records import add_vessels, list_vessels, mark_done
from farm.records.models import Vessel
from farm.store import create_farm, open_farm
from tests.outside.conftest import Tell
from tests.values import known

# PMC7407021 (2020), Table 2, oyster on wheat straw: 910.1 g of fresh mushrooms, biological efficiency 105.0 %, 3.0
# flushes. The dry weight is not printed there: it follows from the two, 910.1 / 1.05 = 866.76 g.
FRESH_KG, PERCENT, DRY_KG = 0.9101, 105.0, 0.8667619
START = datetime(2026, 3, 1, 8, tzinfo=UTC)


def test_a_published_bag(tell: Tell) -> None:
    found = biological_efficiency(FRESH_KG, DRY_KG)
    what = "biological efficiency of 910.1 g fresh on 866.8 g dry straw, %"
    tell(what, "PMC7407021, Table 2 (dry weight implied)", f"{PERCENT:.1f}", f"{found:.1f}")
    assert found == pytest.approx(PERCENT, abs=0.001)


def test_the_same_bag_from_its_wet_weight_moisture_and_three_harvests(tmp_path: Path, tell: Tell) -> None:
    """The bag as a grower notes it: 3.0957 kg of straw with 72 % of water, picked in three flushes."""
    with create_farm(tmp_path / "farm") as made:
        settings = made.folder / "farm.toml"
        settings.write_text(settings.read_text("utf-8").replace("# straw = 72", "straw = 72"), "utf-8")
    with open_farm(tmp_path / "farm") as farm:
        wet_kg = DRY_KG / (1 - 0.72)
        add_vessels(farm, [Vessel("K001", "bag", START, "oyster", "wheat straw", contents_kg=wet_kg)])
        (bag,) = list_vessels(farm)
        mark_done(farm, [bag], START + timedelta(days=20))
        for day, kg in ((27, 0.5101), (35, 0.3), (43, 0.1)):
            record_harvest(farm, [bag], kg, START + timedelta(days=day))
        (one,) = vessel_yields(farm, [bag])
    tell(
        "the same bag noted as wet weight, moisture and three harvests, %",
        "PMC7407021, Table 2 (dry weight implied)",
        f"{PERCENT:.1f} in 3 flushes",
        f"{known(one.efficiency_percent):.1f} in {len(one.flush_kg)} flushes",
    )
    assert known(one.efficiency_percent) == pytest.approx(PERCENT, abs=0.001)
    assert list(one.flush_kg) == [1, 2, 3]


@pytest.mark.parametrize("dry_kg", [0.0, -1.0, float("nan")])
def test_without_dry_weight_there_is_none(dry_kg: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        biological_efficiency(1.0, dry_kg)
