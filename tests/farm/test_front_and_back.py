"""A bag photographed front and back: separate readings and series, one vessel in forecast and lists."""

from dataclasses import replace
from datetime import timedelta
from math import sqrt
from pathlib import Path
from typing import Literal

import pytest
from PIL import Image

from farm.measure import RunOptions, measure_paths
from farm.outlook import list_outlooks, readings_of
from farm.records import add_vessels, list_readings
from farm.records.front_and_back import combine_faces
from farm.records.models import KeptReading, Vessel
from farm.store import Farm
from tests.farm.by_hand import START
from tests.farm.painted import paint, painted_vision
from tests.values import known
from tests.vision.drawn import bag_photo

Shown = Literal["front", "back", "both"]


def face(day: float, percent: float, side: Shown = "front", *, wide: int = 300, reach: float = 4.0) -> KeptReading:
    return KeptReading(
        f"{day}",
        f"{side}{day}",
        0,
        START + timedelta(days=day),
        "camera",
        "ok",
        "B001",
        "bag",
        percent=percent,
        percent_low=max(0.0, percent - reach),
        percent_high=min(100.0, percent + reach),
        percent_alone=percent,
        hidden_percent=0.0,
        mm_per_px=0.5,
        face_box=(0, 0, wide, 400),
        side=side,
    )


def width(one: KeptReading) -> float:
    return known(one.percent_high) - known(one.percent_low)


def test_a_vessel_with_one_side_is_unchanged() -> None:
    fronts = [face(1, 10), face(3, 40)]
    assert combine_faces(fronts) == fronts


def test_front_and_back_are_averaged_by_area_without_reducing_the_error() -> None:
    (both,) = combine_faces([face(3.0, 40, wide=300), face(3.2, 60, "back", wide=100)])
    assert both.percent == pytest.approx(0.75 * 40 + 0.25 * 60)
    assert both.side == "both"
    assert (both.percent_low, both.percent_high) == pytest.approx((41, 49))
    assert both.taken_at == START + timedelta(days=3.1)


def test_a_face_counts_by_its_visible_area() -> None:
    veiled = replace(face(3.0, 40), hidden_percent=50.0)
    (both,) = combine_faces([veiled, face(3.0, 60, "back")])
    assert both.percent == pytest.approx((0.5 * 40 + 60) / 1.5)
    hidden = replace(face(3.0, 40), hidden_percent=100.0)
    (both,) = combine_faces([hidden, face(3.0, 60, "back")])
    assert both.percent == pytest.approx((0.1 * 40 + 60) / 1.1), "a tenth at the least"
    (both,) = combine_faces([replace(face(3.0, 40), face_box=None), face(3.0, 60, "back", wide=900)])
    assert both.percent == pytest.approx(50), "the same weight where an area is unknown"


def test_bounds_of_one_side_alone_are_widened_by_the_difference_between_the_sides() -> None:
    days = [face(2, 20), face(2, 24, "back"), face(6, 50)]
    _, alone = combine_faces(days)
    assert alone.percent == 50
    reach = known(alone.percent_high) - 50
    # The other half may differ by d (root mean square of the pair's and the usual one), so the whole by d / 2.
    differs = sqrt(((4 / sqrt(4 * 0.22 * 0.78)) ** 2 + 12**2) / 2)
    assert reach == pytest.approx(sqrt(4**2 + (1.2816 * differs / 2) ** 2), rel=1e-3)
    _, wider = combine_faces([face(2, 10), face(2, 60, "back"), face(6, 50)])
    assert known(wider.percent_high) > known(alone.percent_high)
    empty = combine_faces([face(2, 20), face(2, 24, "back"), face(6, 0)])[-1]
    # At both ends the two sides hardly differ; a tenth of their difference at half colonised is allowed for.
    assert empty.percent_high == pytest.approx(sqrt(4**2 + (1.2816 * differs / 2 * 0.1) ** 2), rel=1e-3)
    assert empty.percent_low == 0
    full = combine_faces([face(2, 20), face(2, 24, "back"), face(6, 99)])[-1]
    assert full.percent_high == 100
    # The difference scales with the spread of a share: sqrt(4 p (1 - p)).
    part = combine_faces([face(2, 20), face(2, 24, "back"), face(6, 20)])[-1]
    assert part.percent_high == pytest.approx(20 + sqrt(4**2 + (1.2816 * differs / 2 * 0.8) ** 2), rel=1e-4)


def test_a_pair_near_an_end_is_not_scaled_up_without_limit() -> None:
    """At 2 % the spread of a share is 0.28 of that at half colonised; a difference is divided by 0.3 at the least."""
    alone = combine_faces([face(2, 1), face(2, 3, "back"), face(6, 50)])[-1]
    differs = sqrt(((2 / 0.3) ** 2 + 12**2) / 2)
    assert alone.percent_high == pytest.approx(50 + sqrt(4**2 + (1.2816 * differs / 2) ** 2), rel=1e-4)


def test_front_and_back_are_paired_within_half_a_day_and_one_phase() -> None:
    days = [face(3.0, 40), face(3.3, 5, "back")]
    assert [one.side for one in combine_faces(days, [START + timedelta(days=3.1)])] == ["front", "back"]
    near, far = [[face(3.0, 40), face(day, 50, "back")] for day in (3.49, 3.51)]
    assert [one.side for one in combine_faces(near)] == ["both"]
    assert [one.side for one in combine_faces(far)] == ["front", "back"]


def test_several_photos_of_one_side_all_count() -> None:
    found = combine_faces([face(3.0, 40), face(3.01, 44), face(3.02, 60, "back")])
    assert [one.percent for one in found] == [50, 52]


def test_each_side_has_its_own_series(farm: Farm, tmp_path: Path) -> None:
    """The painted second pass lets no reading fall: in one series with the front, the back would be raised."""
    add_vessels(farm, [Vessel("B001", "bag", START)])
    paint(tmp_path / "20260305_1000.png", ("B001", 60), ("B001/BACK", 20))
    paint(tmp_path / "20260306_1000.png", ("B001/BACK", 30), ("B001", 50))
    measure_paths(farm, [tmp_path], vision=painted_vision())
    kept = [(one.side, one.percent) for one in list_readings(farm)]
    assert kept == [("front", 60), ("back", 20), ("back", 30), ("front", 60)]


@pytest.mark.parametrize("workers", [1, 2])
def test_drawn_photos_of_both_sides_become_one_vessel(farm: Farm, tmp_path: Path, workers: int) -> None:
    add_vessels(farm, [Vessel("B1", "bag", START, species="oyster", substrate="sawdust")])
    photos = tmp_path / "photos"
    photos.mkdir()
    for day, front, back in ((2, 0.0, 0.0), (5, 0.2, 0.4), (8, 0.4, 0.7), (11, 0.6, None)):
        for side, covered in (("B1", front), ("B1/BACK", back)):
            if covered is not None:
                name = f"202603{day + 1:02}_{'10' if side == 'B1' else '11'}00.png"
                Image.fromarray(bag_photo(side, covered)).save(photos / name)
    measure_paths(farm, [photos], RunOptions(workers=workers))
    kept = list_readings(farm, vessel="B1")
    assert [one.side for one in kept] == ["front", "back"] * 3 + ["front"]
    (outlook,) = list_outlooks(farm.at(START + timedelta(days=12)))
    readings = readings_of(farm, ["B1"])["B1"]
    assert [one.side for one in readings.series] == ["both", "both", "both", "front"]
    assert len(readings.faces) == 7
    pairs = zip(kept[0:6:2], kept[1:6:2], readings.series, strict=False)
    for one, other, both in pairs:
        assert both.percent == pytest.approx((known(one.percent) + known(other.percent)) / 2, abs=1.0)
    alone, last = kept[-1], readings.series[-1]
    assert last == outlook.last
    assert last.percent == alone.percent
    assert width(last) > width(alone) + 4
    assert outlook.forecast.through_median is not None
