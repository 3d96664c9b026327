"""Photos before measurement: files, vessels and times."""

from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from farm.measure.photos import date_in_name, find_photos, ids_in_names, owner_of, taken_when
from farm.store import output_folder
from farm.store.errors import NothingToMeasureError
from tests.farm.painted import at

SUFFIXES = (".jpg", ".png")


@pytest.mark.parametrize(
    ("name", "moment"),
    [
        ("20260302_1300", datetime(2026, 3, 2, 13, 0)),
        ("IMG_20260302_130259", datetime(2026, 3, 2, 13, 2, 59)),
        ("2026-03-02 13.02.59", datetime(2026, 3, 2, 13, 2, 59)),
        ("B001_2026-03-02", datetime(2026, 3, 2, 12, 0)),
        ("shelf 2026.03.02T0805", datetime(2026, 3, 2, 8, 5)),
        ("20261302_1300", None),
        ("IMG_4711", None),
        ("120260302", None),
    ],
)
def test_date_in_a_file_name(name: str, moment: datetime | None) -> None:
    assert date_in_name(name) == moment


@pytest.mark.parametrize(
    ("names", "owner"),
    [
        (("B1_2026", "photos"), "B1"),
        (("b12 side", "photos"), "B12"),
        (("B123", "photos"), None),
        (("J-1_front", "photos"), "J/1"),
        (("B12", "B1"), "B12"),
        (("IMG_1", "B1-left", "B12"), "B1"),
    ],
)
def test_the_owner_of_an_unlabelled_photo(names: tuple[str, ...], owner: str | None) -> None:
    assert owner_of(names, ids_in_names(["B1", "B12", "J/1"])) == owner


def test_folders_are_searched_recursively_except_those_of_the_program(tmp_path: Path) -> None:
    for name in ("b.jpg", "sub/a.PNG", "sub/notes.txt", ".hidden.jpg", ".git/c.jpg", "look/a_overlay.jpg"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    (tmp_path / "folder.jpg").mkdir()
    output_folder(tmp_path / "look")
    found = find_photos([tmp_path, tmp_path / "b.jpg"], SUFFIXES)
    assert [(photo.path.name, photo.folder) for photo in found] == [("b.jpg", ""), ("a.PNG", "sub")]
    assert found[1].names == ("a", "sub", tmp_path.name)


def test_nothing_to_measure_is_reported(tmp_path: Path) -> None:
    with pytest.raises(NothingToMeasureError, match="no picture in"):
        find_photos([tmp_path], SUFFIXES)
    with pytest.raises(NothingToMeasureError, match="no such file or folder"):
        find_photos([tmp_path / "gone"], SUFFIXES)


def test_the_time_is_from_the_camera_then_the_name_then_the_file(tmp_path: Path) -> None:
    named, nameless = tmp_path / "20260302_1300.jpg", tmp_path / "IMG_1.jpg"
    named.touch()
    nameless.touch()
    at(nameless, "2026-03-04T10:00+00:00")
    camera = datetime(2026, 3, 1, 7, 0)
    assert taken_when(named, camera, UTC) == (camera.replace(tzinfo=UTC), "camera")
    assert taken_when(named, None, UTC) == (datetime(2026, 3, 2, 13, tzinfo=UTC), "file name")
    assert taken_when(nameless, None, UTC) == (datetime(2026, 3, 4, 10, tzinfo=UTC), "file time")


@pytest.mark.parametrize("zone", ["America/New_York", "Asia/Tokyo", "UTC"])
@pytest.mark.parametrize("year", [1, 1899, 3000, 9999])
def test_an_implausible_camera_year_is_ignored(tmp_path: Path, zone: str, year: int) -> None:
    """Years 1 and 9999, where a conversion between zones would leave the calendar."""
    named = tmp_path / "20260302_1300.jpg"
    named.touch()
    for camera in (datetime(year, 1, 1), datetime(year, 12, 31, 23, 59, 59)):
        assert taken_when(named, camera, ZoneInfo(zone))[1] == "file name"


def test_a_file_time_beyond_the_calendar_is_now(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    nameless = tmp_path / "IMG_1.jpg"
    nameless.touch()
    monkeypatch.setattr("farm.measure.photos.now", lambda: datetime(2026, 3, 5, tzinfo=UTC))
    with monkeypatch.context() as patched:
        patched.setattr(Path, "stat", lambda *_, **__: SimpleNamespace(st_mtime=1e14))
        assert taken_when(nameless, None, UTC) == (datetime(2026, 3, 5, tzinfo=UTC), "file time")
