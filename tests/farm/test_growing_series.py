"""A series that grows: one more photo costs the same at any length, and any order of photos gives the same result."""

import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from farm.measure import RunOptions, Vision, measure_paths, read_stale_series, series
from farm.records import add_event, import_vessels, list_readings, moment
from farm.store import Farm, create_farm, to_instant
from tests.farm.painted import never_falls, paint
from vision.days import SeriesFace
from vision.records import Face, MeasuredVessel, VesselSpec

pytestmark = pytest.mark.slow


@pytest.fixture
def photos(tmp_path: Path) -> list[Path]:
    days = [(month, day) for month in (3, 4) for day in range(2, 23)]
    return [
        paint(tmp_path / "photos" / f"2026{month:02}{day:02}_1000.png", ("B001", 2 * n))
        for n, (month, day) in enumerate(days)
    ]


class Counting:
    """Vision that records the number of faces read at once."""

    def __init__(self, vision: Vision) -> None:
        self.counts: list[int] = []
        self.vision = replace(vision, continue_series=self.read)

    def read(
        self, before: bytes | None, faces: Sequence[SeriesFace], spec: VesselSpec, mates: Sequence[Face]
    ) -> tuple[tuple[MeasuredVessel, ...], bytes]:
        self.counts.append(len(faces))
        return never_falls(before, faces, spec, mates)


@pytest.fixture
def seen(farm: Farm, vessels_csv: Path, vision: Vision) -> Counting:
    import_vessels(farm, vessels_csv)
    return Counting(vision)


def test_one_more_photo_reads_one_face(farm: Farm, photos: list[Path], seen: Counting) -> None:
    for photo in photos:
        measure_paths(farm, [photo], vision=seen.vision)
    assert seen.counts == [1] * len(photos)
    kept = [one.suffix for one in (farm.folder / "series").iterdir()]
    assert sorted(kept) == ["", ".mark"], "of 42 photos: after the last, and after 24"


def test_photos_at_once_and_one_by_one_in_any_order_leave_the_same_records(
    farm: Farm, vessels_csv: Path, photos: list[Path], vision: Vision, seen: Counting, tmp_path: Path
) -> None:
    with create_farm(tmp_path / "other") as other:
        import_vessels(other, vessels_csv)
        measure_paths(farm, photos, vision=vision)
        for photo in [*photos[20:], *photos[:20]]:
            measure_paths(other, [photo], vision=vision)
        assert list_readings(other) == list_readings(farm)


@pytest.mark.parametrize(("late", "n_read"), [(0, 42), (23, 42), (24, 18), (40, 18)])
@pytest.mark.parametrize("is_one_by_one", [True, False])
def test_a_photo_that_comes_late_has_those_since_the_last_mark_read_again(
    farm: Farm, photos: list[Path], seen: Counting, late: int, n_read: int, is_one_by_one: bool
) -> None:
    """A mark stands after 24 photos; where the late one is before it, it is another one then."""
    others = [photo for photo in photos if photo != photos[late]]
    for some in [[one] for one in others] if is_one_by_one else [others]:
        measure_paths(farm, some, vision=seen.vision)
    del seen.counts[:]
    measure_paths(farm, [photos[late]], vision=seen.vision)
    assert sum(seen.counts) == n_read
    assert len(list((farm.folder / "series").glob("*.mark"))) == 1
    del seen.counts[:]
    (shaken,) = list_readings(farm)[36:37]
    add_event(farm, "B001", "shaken", shaken.taken_at)
    read_stale_series(farm, vision=seen.vision)
    assert sum(seen.counts) == 18, "the mark that now stands serves"


def test_photos_in_random_orders_and_portions_leave_the_same_records(
    farm: Farm, vessels_csv: Path, photos: list[Path], vision: Vision, seen: Counting, tmp_path: Path
) -> None:
    measure_paths(farm, photos, vision=vision)
    for seed in range(4):
        chance = random.Random(seed)
        order = chance.sample(photos, len(photos))
        with create_farm(tmp_path / f"other{seed}") as other:
            import_vessels(other, vessels_csv)
            while order:
                n_next = chance.choice((1, 1, 2, 5, 20))
                measure_paths(other, order[:n_next], vision=vision)
                order = order[n_next:]
            assert list_readings(other) == list_readings(farm)


def test_measuring_a_photo_again_uses_no_mark(farm: Farm, photos: list[Path], seen: Counting) -> None:
    """Its face may be another one though its reading is the same."""
    measure_paths(farm, photos, vision=seen.vision)
    del seen.counts[:]
    measure_paths(farm, [photos[40]], RunOptions(again=True), vision=seen.vision)
    assert sum(seen.counts) == len(photos)


def test_a_shake_has_the_series_read_again_since_the_last_mark(farm: Farm, photos: list[Path], seen: Counting) -> None:
    measure_paths(farm, photos, vision=seen.vision)
    del seen.counts[:]
    add_event(farm, "B001", "shaken", to_instant(moment("2026-04-10T12:00"), farm.zone))
    read_stale_series(farm, vision=seen.vision)
    assert sum(seen.counts) == len(photos) - 24
    del seen.counts[:]
    read_stale_series(farm, vision=seen.vision)
    assert seen.counts == []


@pytest.mark.parametrize("harm", ["gone", "cut short", "changed"])
def test_stored_states_may_be_lost_or_damaged(farm: Farm, photos: list[Path], seen: Counting, harm: str) -> None:
    """It is only a shortcut: all photos are read again, and the readings are the same."""
    measure_paths(farm, photos[:10], vision=seen.vision)
    (kept,) = (farm.folder / "series").iterdir()
    content = kept.read_bytes()
    if harm == "gone":
        kept.unlink()
    else:
        kept.write_bytes(content[:-1] if harm == "cut short" else b"x" + content[1:])
    before = list_readings(farm)
    del seen.counts[:]
    measure_paths(farm, photos[10:11], vision=seen.vision)
    assert sum(seen.counts) == 11
    assert list_readings(farm)[:10] == before


def test_a_reading_does_not_change_with_the_next_photo(farm: Farm, photos: list[Path], seen: Counting) -> None:
    measure_paths(farm, photos[:5], vision=seen.vision)
    before = list_readings(farm)
    measure_paths(farm, photos[5:8], vision=seen.vision)
    assert list_readings(farm)[:5] == before


def test_measuring_again_reads_the_series_again_although_nothing_has_changed(
    farm: Farm, photos: list[Path], seen: Counting
) -> None:
    paint(photos[20], ("B001", 3), ("B002", 9))
    measure_paths(farm, photos, vision=seen.vision)
    before = list_readings(farm, vessel="B001")
    assert before[20].percent != before[20].percent_alone
    measure_paths(farm, [photos[20]], RunOptions(again=True), vision=seen.vision)
    assert list_readings(farm, vessel="B001") == before


def test_a_vessel_without_photos_is_up_to_date_without_vision(
    farm: Farm, vessels_csv: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Vision takes long to load, and an event of a vessel without photos leaves nothing to read."""

    def no_vision() -> Vision:
        raise AssertionError("loaded for nothing")

    monkeypatch.setattr(series, "load_vision", no_vision)
    import_vessels(farm, vessels_csv)
    add_event(farm, "B001", "shaken", to_instant(moment("2026-03-10T12:00"), farm.zone))
    assert read_stale_series(farm) == 1
    assert read_stale_series(farm) == 0
