"""Long series read in chunks: bounded cost for any length, and the same result for any order of photos."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm.measure import RunOptions, Vision, measure_paths, read_stale_series
from farm.measure.series_chunks import BEFORE, FIRST, OWN, split_series
from farm.records import add_event, import_vessels, list_readings, moment
from farm.store import Farm, create_farm, to_instant
from tests.farm.painted import never_falls, paint
from vision.days import SeriesFace
from vision.records import Face, MeasuredVessel, VesselSpec

pytestmark = pytest.mark.slow


@given(st.integers(0, 300))
def test_each_photo_is_in_one_chunk_and_no_chunk_is_long(count: int) -> None:
    found = split_series(range(count))
    assert [place for one in found for place in one.own] == list(range(count))
    assert all(len(one.own) + len(one.context) <= OWN + FIRST + BEFORE for one in found)
    assert all(max(one.context, default=-1) < one.own[0] for one in found)
    assert all(0 in one.context for one in found[1:])
    assert split_series(range(count + 1))[: len(found) - 1] == found[:-1]


@pytest.fixture
def photos(tmp_path: Path) -> list[Path]:
    days = [(month, day) for month in (3, 4, 5) for day in range(2, 29)]
    return [
        paint(tmp_path / "photos" / f"2026{month:02}{day:02}_1000.png", ("B001", n))
        for n, (month, day) in enumerate(days)
    ]


class Counting:
    """Vision that records the number of faces of each series."""

    def __init__(self, vision: Vision) -> None:
        self.counts: list[int] = []
        self.vision = replace(vision, read_series=self.read)

    def read(self, faces: Sequence[SeriesFace], spec: VesselSpec, mates: Sequence[Face]) -> tuple[MeasuredVessel, ...]:
        self.counts += [len(faces)] if faces else []
        return never_falls(faces, spec, mates)


def test_one_more_photo_costs_no_more_than_one_chunk(
    farm: Farm, vessels_csv: Path, photos: list[Path], vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    seen = Counting(vision)
    for photo in photos:
        measure_paths(farm, [photo], vision=seen.vision)
    assert len(photos) == 81
    assert len(seen.counts) == len(photos)
    assert max(seen.counts) == OWN + FIRST + BEFORE


def test_a_batch_at_once_and_one_by_one_in_any_order_leave_the_same_records(
    farm: Farm, vessels_csv: Path, photos: list[Path], vision: Vision, tmp_path: Path
) -> None:
    with create_farm(tmp_path / "other") as other:
        for one in (farm, other):
            import_vessels(one, vessels_csv)
        measure_paths(farm, photos, vision=vision)
        for photo in [*photos[40:], *photos[:40]]:
            measure_paths(other, [photo], vision=vision)
        assert list_readings(other) == list_readings(farm)


def test_measuring_again_reads_the_series_again_although_nothing_has_changed(
    farm: Farm, vessels_csv: Path, photos: list[Path], vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    paint(photos[50], ("B001", 3), ("B002", 9))
    measure_paths(farm, photos, vision=vision)
    before = list_readings(farm, vessel="B001")
    assert before[50].percent != before[50].percent_alone
    measure_paths(farm, [photos[50]], RunOptions(again=True), vision=vision)
    assert list_readings(farm, vessel="B001") == before


def test_a_shake_affects_every_chunk_after_it(
    farm: Farm, vessels_csv: Path, photos: list[Path], vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    seen = Counting(vision)
    measure_paths(farm, photos, vision=seen.vision)
    del seen.counts[:]
    add_event(farm, "B001", "shaken", to_instant(moment("2026-04-20T12:00"), farm.zone))
    read_stale_series(farm, vision=seen.vision)
    assert len(seen.counts) == 2, "the chunks with photos after it, not the first"
