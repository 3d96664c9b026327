"""A photo that bears no percent but shows a suspect: its face is kept to be looked at, and never read."""

from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import update

from farm.measure import RunOptions, measure_paths
from farm.outlook import bring_up_to_date, readings_of
from farm.pictures import PictureSizes, crop_jpeg, lacks_picture, save_crops, spot_views, vessel_pictures
from farm.records import face_file, import_vessels, list_readings
from farm.records.models import KeptReading
from farm.review import ReviewItem, review_items
from farm.store import Farm
from farm.store.schema import readings
from farm.upkeep import check_farm
from tests.farm.painted import NO_PERCENT, paint

#: Day in March, percent and area of the green patch.
DAYS = ((3, 20, 0), (4, 30, 1), (5, NO_PERCENT, 2), (6, NO_PERCENT, 4))


@pytest.fixture
def moulded(farm: Farm, vessels_csv: Path, tmp_path: Path, vision) -> Farm:
    """B001 with a green patch that grows, whose newest photos bear no percent; B002 clean, its newest without one."""
    import_vessels(farm, vessels_csv)
    for day, percent, area in DAYS:
        clean = NO_PERCENT if day == 6 else 2 * day
        paint(tmp_path / "photos" / f"202603{day:02}_1000.png", ("B001", percent, area), ("B002", clean))
    measure_paths(farm, [tmp_path / "photos"], vision=vision)
    return farm


def the_item(farm: Farm) -> ReviewItem:
    (item,) = review_items(farm, bring_up_to_date(farm))
    return item


def newest(farm: Farm, vessel: str) -> KeptReading:
    return list_readings(farm, vessel=vessel)[-1]


def test_its_spot_over_days_is_shown_like_any_others(moulded: Farm) -> None:
    item = the_item(moulded)
    views = spot_views(moulded, item, readings_of(moulded, ["B001"])["B001"].looked_at)
    assert [(view.reading.percent, view.area_cm2) for view in views] == [(20, None), (30, 1), (None, 2), (None, 4)]
    for view in views:
        assert crop_jpeg(moulded, view.reading.photo_hash, view.reading.slot, view.window) is not None
    (crop,), problems = save_crops(moulded, [item])
    assert crop is not None
    assert Path(crop).read_bytes().startswith(b"\xff\xd8\xff")  # a JPEG (its first three bytes, ITU-T T.81 annex B)
    assert problems == []


def test_a_refused_photo_without_a_suspect_takes_no_room(moulded: Farm) -> None:
    shows, clean = newest(moulded, "B001"), newest(moulded, "B002")
    assert (shows.status, shows.has_face, clean.status, clean.has_face) == ("unusable", True, "unusable", False)
    assert face_file(moulded, shows.photo_hash, shows.slot).is_file()
    assert not face_file(moulded, clean.photo_hash, clean.slot).exists()
    assert [damage for damage in check_farm(moulded.folder) if damage.what == "face"] == []


def test_its_face_is_never_read_in_a_series(moulded: Farm, tmp_path: Path, vision) -> None:
    """The painted second pass would carry a percent on: a refused photo stays without one, also after a later photo."""
    paint(tmp_path / "photos" / "20260308_1000.png", ("B001", 45, 4))
    measure_paths(moulded, [tmp_path / "photos"], vision=vision)
    bring_up_to_date(moulded)
    found = list_readings(moulded, vessel="B001")
    assert [one.percent for one in found] == [20, 30, None, None, 45]
    assert [one.status for one in found] == ["ok", "ok", "unusable", "unusable", "ok"]
    assert [one.percent for one in readings_of(moulded, ["B001"])["B001"].series] == [20, 30, 45]


def test_it_is_the_newest_picture_of_its_vessel_and_in_the_strip(moulded: Farm) -> None:
    shown = {"B001": readings_of(moulded, ["B001"])["B001"].looked_at}
    found = vessel_pictures(moulded, shown, PictureSizes(face_px=64, frame_px=32, frames=9))["B001"]
    assert [frame.reading.percent for frame in found.strip] == [20, 30, None, None]
    assert found.newest is not None
    assert found.shown is not None
    assert found.shown.key == newest(moulded, "B001").key


def test_one_measured_before_faces_of_such_photos_were_kept_says_how_to_get_its_picture(moulded: Farm) -> None:
    with moulded.writing() as connection:
        connection.execute(update(readings).where(readings.c.status != "ok").values(has_face=False, frame=None))
        connection.exec_driver_sql("UPDATE vessels SET summary = NULL")
    item = the_item(moulded)
    assert lacks_picture(item)
    views = spot_views(moulded, item, readings_of(moulded, ["B001"])["B001"].looked_at)
    assert [view.area_cm2 for view in views] == [None, 1]  # the days whose faces there are
    crops, problems = save_crops(moulded, [item])
    assert crops == [None]
    path = newest(moulded, "B001").photo
    assert problems == [f"B001: no picture is kept of {path}; `spawnrun measure --again {path}` makes one"]


def test_measured_again_its_picture_is_there(moulded: Farm, tmp_path: Path, vision) -> None:
    for face in (moulded.folder / "faces").rglob("*.face"):
        face.unlink()
    measure_paths(moulded, [tmp_path / "photos"], RunOptions(again=True), vision=vision)
    one = newest(moulded, "B001")
    assert np.frombuffer(face_file(moulded, one.photo_hash, one.slot).read_bytes(), np.uint8).size > 100
