"""The benchmark on real photographs: boxes, kinds, and the distance of a reading from the estimated range."""

import json

import cv2
import numpy as np
import pytest

from benchmarks.photographs.__main__ import Part, box_around, kind_by_name, read_parts, row
from vision.records import Reading, Status


def part(percent, *, white=10.0, give_or_take=4.0):
    status: Status = "unusable" if percent is None else "ok"
    return Part("dishes", white, give_or_take, False, "high", Reading("PART", "plate", status, percent=percent))


def test_a_box_has_a_margin_and_ends_at_the_picture():
    circle = {"type": "circle", "centre_px": [100, 60], "radius_px": 50}
    assert box_around(circle, (400, 500, 3)) == (44, 4, 112, 112)
    polygon = {"type": "polygon", "points_px": [[0, 0], [500, 0], [500, 400], [0, 400]]}
    assert box_around(polygon, (400, 500, 3)) == (0, 0, 500, 400)


def test_the_name_of_a_part_takes_precedence_over_the_folder_of_its_photo():
    assert kind_by_name("grain jar, below lid", "grow_bag") == "jar"
    assert kind_by_name("left", "grow_bag") == "bag"
    assert kind_by_name("dish", "petri_colonies") == "plate"


@pytest.mark.parametrize(("percent", "beyond"), [(None, None), (13.0, 0.0), (20.0, 6.0), (1.0, 5.0)])
def test_the_distance_counts_from_the_end_of_the_estimated_range(percent, beyond):
    assert part(percent).beyond == beyond


def test_a_row_counts_the_parts_that_were_read():
    assert row("dishes", [part(20.0), part(12.0), part(None)]).split()[:6] == ["dishes", "2", "of", "3", "3.0", "3.0"]


def test_every_part_of_every_photo_is_read(tmp_path):
    picture = np.full((300, 300, 3), 90, np.uint8)
    cv2.circle(picture, (150, 150), 110, (60, 120, 170), -1)
    (tmp_path / "petri").mkdir()
    cv2.imwrite(str(tmp_path / "petri" / "one.png"), picture)
    region = {
        "name": "dish", "outline": {"type": "circle", "centre_px": [150, 150], "radius_px": 110}, "trust": "low",
        "white_covered_percent": 0, "white_plus_minus": 1, "flag_coloured": False,
    }  # fmt: skip
    known = {"files": {"petri/one.png": {"regions": [region, region]}}}
    (tmp_path / "annotations.json").write_text(json.dumps(known), "utf-8")
    parts = list(read_parts(tmp_path))
    assert [one.folder for one in parts] == ["petri", "petri"]
    assert all(one.reading.kind == "plate" for one in parts)
