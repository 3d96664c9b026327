"""A plate's colony over its photos, with the real measurement."""

import pytest
from PIL import Image

from farm.measure import RunOptions, measure_paths
from farm.records import get_vessel, import_vessels
from farm.store import create_farm
from farm.study import colony_growth
from growth.fit import RadialRate
from tests.values import known
from tests.vision.drawn import dish_photo


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plates")
    (folder / "vessels.csv").write_text(
        "id,kind,inoculated\nP-1,plate,2026-03-01T08:00\nJ-1,jar,2026-03-01T08:00\n", encoding="utf-8"
    )
    photos = folder / "photos"
    photos.mkdir()
    # 4 mm a day from the second day on: the linear radial law of Trinci 1971.
    for day, radius_mm in ((1, 0.0), (4, 18.0), (6, 26.0), (8, 34.0)):
        Image.fromarray(dish_photo("P-1", radius_mm)).save(photos / f"2026030{day + 1}_0800.png")
    with create_farm(folder / "farm") as farm:
        import_vessels(farm, folder / "vessels.csv")
        measure_paths(farm, [photos], RunOptions())
        yield farm


def test_radius_and_rate_of_a_steady_colony(farm):
    grown = known(colony_growth(farm, get_vessel(farm, "P-1")))
    # The border of a drawn colony is read up to 1.4 mm too far in.
    assert [one.radius_mm for one in grown.days] == pytest.approx([18.0, 26.0, 34.0], abs=1.5)
    assert isinstance(grown.rate.whole, RadialRate)
    assert grown.rate.whole.mm_per_day == pytest.approx(4.0, rel=0.08)
    assert grown.rate.fast_sectors == ()
    assert all(one.n_colonies == 1 for one in grown.days)


def test_other_kinds_have_no_colony(farm):
    assert colony_growth(farm, get_vessel(farm, "J-1")) is None
