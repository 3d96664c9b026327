"""A vessel first photographed too late is read with bare photos of its batch, in any order of photos."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from farm.measure import Vision, measure_paths
from farm.records import import_vessels, list_readings
from farm.store import Farm
from tests.farm.painted import never_falls, paint
from vision.days import SeriesFace
from vision.records import Face, MeasuredVessel, VesselSpec


@pytest.fixture
def mates_marked(vision: Vision) -> Vision:
    """Vision that flags a series with the number of bare faces of other vessels that it was given."""

    def marked(
        before: bytes | None, faces: Sequence[SeriesFace], spec: VesselSpec, mates: Sequence[Face]
    ) -> tuple[tuple[MeasuredVessel, ...], bytes]:
        read, kept = never_falls(before, faces, spec)
        beside = (f"beside_{len(mates)}",)
        return tuple(replace(one, reading=replace(one.reading, flags=beside)) for one in read), kept

    return replace(vision, continue_series=marked)


def beside(farm: Farm) -> dict[str | None, set[str]]:
    flags: dict[str | None, set[str]] = {}
    for one in list_readings(farm):
        flags.setdefault(one.vessel, set()).update(one.flags)
    return flags


def photos_of_a_batch(folder: Path) -> tuple[Path, Path]:
    early = paint(folder / "20260302_1000.png", ("B001", 3))
    late = paint(folder / "20260308_1000.png", ("B001", 30), ("B002", 40), ("J001", 50))
    return early, late


def test_a_late_vessel_is_read_with_faces_of_its_batch(
    farm: Farm, vessels_csv: Path, tmp_path: Path, mates_marked: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    measure_paths(farm, photos_of_a_batch(tmp_path / "photos"), vision=mates_marked)
    assert beside(farm) == {"B001": {"beside_0"}, "B002": {"beside_1"}, "J001": {"beside_0"}}


def test_the_order_of_photos_does_not_matter(
    farm: Farm, vessels_csv: Path, tmp_path: Path, mates_marked: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    early, late = photos_of_a_batch(tmp_path / "photos")
    measure_paths(farm, [late], vision=mates_marked)
    assert beside(farm)["B002"] == {"beside_0"}
    measure_paths(farm, [early], vision=mates_marked)
    assert beside(farm) == {"B001": {"beside_0"}, "B002": {"beside_1"}, "J001": {"beside_0"}}


def test_faces_of_another_substrate_are_not_used(
    farm: Farm, vessels_csv: Path, tmp_path: Path, mates_marked: Vision
) -> None:
    rows = vessels_csv.read_text("utf-8").replace("B002,bag,oyster,sawdust", "B002,bag,oyster,straw")
    vessels_csv.write_text(rows, "utf-8")
    import_vessels(farm, vessels_csv)
    measure_paths(farm, photos_of_a_batch(tmp_path / "photos"), vision=mates_marked)
    assert beside(farm)["B002"] == {"beside_0"}
