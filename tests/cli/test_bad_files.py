"""Bad files through the whole command: each is reported, and none affects the others."""

import json
import os
from pathlib import Path

import pytest
from PIL import Image

from tests.cli.conftest import Spawnrun
from tests.farm.painted import paint
from tests.permissions import file_modes_apply
from tests.vision.drawn import bag_photo

NAMES = [
    "with space.png",
    'it\'s "quoted".png',
    "two\nlines.png",
    "\N{MUSHROOM}\N{SNOWMAN}.png",
    "-kind.png",
    "=SUM(A1).png",
    "\x1b[31mred.png",
    "\N{RIGHT-TO-LEFT OVERRIDE}gnp.png",
    "a" * 200 + ".png",
    "%s{0}$HOME`id`.png",
]


@pytest.mark.usefixtures("painted")
def test_any_name_that_a_file_can_have_is_measured_and_reported(
    spawnrun: Spawnrun, vessels: Path, tmp_path: Path
) -> None:
    for percent, name in enumerate(NAMES):
        paint(tmp_path / "shelf" / name, ("B001", percent))
    listed = spawnrun("measure", "shelf", "--vessels", "vessels.csv", "--format", "json")
    assert listed.code == 0
    assert sorted(one["photo"] for one in json.loads(listed.out)) == sorted(f"shelf/{name}" for name in NAMES)
    table = spawnrun("measure", "shelf", "--vessels", "vessels.csv").out
    assert "\x1b" not in table
    assert "\N{RIGHT-TO-LEFT OVERRIDE}" not in table
    assert len(table.splitlines()) == len(NAMES) + 1


@pytest.mark.usefixtures("painted")
def test_any_name_is_stored_and_shown_as_text_by_later_commands(
    spawnrun: Spawnrun, vessels: Path, tmp_path: Path
) -> None:
    for percent, name in enumerate((*NAMES, "<img src=x onerror=alert(1)>.png"), start=1):
        paint(tmp_path / "shelf" / name, ("B001", percent, percent))
    spawnrun("init", "home")
    spawnrun("vessel", "import", "vessels.csv", "--farm", "home")
    spawnrun("measure", "shelf", "--farm", "home")
    for command in (("check",), ("export",), ("report",), ("vessel", "show", "B001"), ("review", "list")):
        said = spawnrun(*command, "--farm", "home")
        assert said.code == 0, said.err
        assert not {"\x1b", "\N{RIGHT-TO-LEFT OVERRIDE}"} & set(said.out + said.err)
    assert "<img src=x" not in (tmp_path / "home" / "report.html").read_text("utf-8")
    (tmp_path / "shelf" / NAMES[2]).write_bytes(b"other")
    damaged = spawnrun("check", "--farm", "home")
    assert damaged.code == 3
    assert "two\N{REPLACEMENT CHARACTER}lines.png" in damaged.out


@pytest.mark.usefixtures("painted")
def test_a_file_name_that_is_not_utf_8_is_measured(spawnrun: Spawnrun, vessels: Path, tmp_path: Path) -> None:
    """POSIX names are bytes; an old camera card may hold some that are not UTF-8."""
    source = paint(tmp_path / "shelf" / "a.png", ("B001", 10))
    try:
        os.rename(source, os.fsencode(source.parent) + b"/caf\xe9.png")  # noqa: PTH104 - bytes
    except OSError:
        pytest.skip("this disk takes names in UTF-8 only")
    spawnrun("init", "home")
    spawnrun("vessel", "import", "vessels.csv", "--farm", "home")
    for style in ("table", "json", "csv"):
        outcome = spawnrun("measure", "shelf", "--farm", "home", "--format", style)
        assert outcome.code == 0, outcome.err
        assert "caf" in outcome.out
    assert spawnrun("export", "--farm", "home").code == 0
    assert spawnrun("report", "--farm", "home").code == 0


@pytest.mark.usefixtures("painted")
def test_a_path_with_dots_is_resolved(spawnrun: Spawnrun, vessels: Path, tmp_path: Path) -> None:
    paint(tmp_path / "shelf" / "a.png", ("B001", 30))
    spawnrun("init", "home")
    spawnrun("vessel", "import", "vessels.csv", "--farm", "home")
    assert spawnrun("measure", "shelf/../shelf/a.png", "--farm", "home").code == 0
    assert spawnrun("measure", "home/../shelf", "--farm", "home").err.startswith("1 photo, 0 new")


@pytest.mark.usefixtures("painted")
def test_link_loops_end_and_a_broken_link_is_reported(spawnrun: Spawnrun, vessels: Path, tmp_path: Path) -> None:
    paint(tmp_path / "shelf" / "a.png", ("B001", 30))
    (tmp_path / "shelf" / "round").symlink_to(tmp_path / "shelf")
    (tmp_path / "shelf" / "self.png").symlink_to(tmp_path / "shelf" / "self.png")
    (tmp_path / "shelf" / "gone.png").symlink_to(tmp_path / "nowhere.png")
    outcome = spawnrun("measure", "shelf", "--vessels", "vessels.csv", "--format", "json")
    assert outcome.code == 3
    told = {one["photo"]: one["status"] for one in json.loads(outcome.out)}
    assert told == {"shelf/a.png": "ok", "shelf/gone.png": "unusable", "shelf/self.png": "unusable"}
    assert spawnrun("measure", "shelf/self.png", "--vessels", "vessels.csv").code == 2


@pytest.mark.usefixtures("painted")
def test_folders_pipes_and_empty_files_with_a_picture_suffix(spawnrun: Spawnrun, vessels: Path, tmp_path: Path) -> None:
    """Opening a named pipe would block forever."""
    shelf = tmp_path / "shelf"
    paint(shelf / "a.png", ("B001", 30))
    (shelf / "folder.jpg").mkdir()
    (shelf / "empty.jpg").touch()
    if hasattr(os, "mkfifo"):
        os.mkfifo(shelf / "pipe.jpg")
    outcome = spawnrun("measure", "shelf", "--vessels", "vessels.csv", "--format", "json")
    assert outcome.code == 3
    told = {one["photo"]: one["reason"] for one in json.loads(outcome.out)}
    assert told.pop("shelf/a.png") == ""
    assert told.pop("shelf/empty.jpg") == "the file is empty"
    assert told == ({"shelf/pipe.jpg": "cannot be opened: not a file"} if hasattr(os, "mkfifo") else {})


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="Windows has other permissions")
@pytest.mark.usefixtures("painted")
def test_a_file_and_a_folder_without_read_permission_are_reported(
    spawnrun: Spawnrun, vessels: Path, tmp_path: Path
) -> None:
    shelf = tmp_path / "shelf"
    for number, name in enumerate(("20260305_1000.png", "secret.png", "shut/inside.png")):
        paint(shelf / name, ("B001", number))
    command = ("measure", "shelf", "--vessels", "vessels.csv", "--format", "json")
    assert len(json.loads(spawnrun(*command).out)) == 3
    (shelf / "secret.png").chmod(0)
    (shelf / "shut").chmod(0)
    try:
        with file_modes_apply():
            outcome = spawnrun(*command)
    finally:
        (shelf / "shut").chmod(0o755)
    assert outcome.code == 3
    assert {one["photo"]: one["reason"] for one in json.loads(outcome.out)} == {
        "shelf/20260305_1000.png": "",
        "shelf/secret.png": "cannot be opened: Permission denied",
        "shelf/shut": "cannot be opened: Permission denied",
    }


def test_the_location_of_a_photo_is_never_copied(spawnrun: Spawnrun, vessels: Path, tmp_path: Path) -> None:
    """GPS in EXIF (CIPA DC-008): no file that is written has EXIF or the coordinates."""
    exif = Image.Exif()
    place = exif.get_ifd(0x8825)
    place[1], place[2], place[3], place[4] = "N", (47.0, 13.0, 21.75), "E", (11.0, 51.0, 37.25)
    exif.get_ifd(0x8769)[0x9003] = "2026:03:05 10:00:00"
    (tmp_path / "shelf").mkdir()
    Image.fromarray(bag_photo("B001", 0.5)).save(tmp_path / "shelf" / "a.jpg", exif=exif, quality=92)
    spawnrun("init", "home")
    spawnrun("vessel", "import", "vessels.csv", "--farm", "home")
    said = spawnrun("measure", "shelf", "--farm", "home", "--classes", "look", "--format", "json", "--workers", "1")
    assert said.code == 0
    for command in (("report",), ("export",), ("calendar",), ("backup", "home/b.zip"), ("check",), ("review", "list")):
        assert spawnrun(*command, "--farm", "home").code == 0
    made = [path for top in ("home", "look") for path in (tmp_path / top).rglob("*") if path.is_file()]
    assert len(made) > 10
    for path in made:
        content = path.read_bytes()
        assert b"Exif\x00\x00" not in content, path
        assert b"21.75" not in content, path
    assert "21.75" not in said.out


@pytest.mark.parametrize("zone", ["America/New_York", "Asia/Tokyo"])
def test_an_impossible_camera_date_does_not_stop_a_run(
    spawnrun: Spawnrun, vessels: Path, tmp_path: Path, zone: str
) -> None:
    """The first and the last year of the calendar: converted to another zone, such a time would lie outside of it."""
    (tmp_path / "shelf").mkdir()
    for name, day in (("20260305_1000", "9999:12:31 23:59:59"), ("20260306_1000", "0001:01:01 00:00:00")):
        exif = Image.Exif()
        exif.get_ifd(0x8769)[0x9003] = day
        Image.fromarray(bag_photo("B001", 0.5)).save(tmp_path / "shelf" / f"{name}.jpg", exif=exif, quality=92)
    spawnrun("init", "home")
    settings = tmp_path / "home" / "farm.toml"
    settings.write_text(settings.read_text().replace('time_zone = ""', f'time_zone = "{zone}"'))
    spawnrun("vessel", "import", "vessels.csv", "--farm", "home")
    said = spawnrun("measure", "shelf", "--farm", "home", "--format", "json", "--workers", "1")
    assert (said.code, said.err) == (0, "")
    read = [(one["taken_at"], one["taken_from"]) for one in json.loads(said.out)]
    assert read == [("2026-03-05T10:00", "file name"), ("2026-03-06T10:00", "file name")]


@pytest.mark.usefixtures("painted")
def test_a_camera_whose_clock_runs_ahead_is_flagged(spawnrun: Spawnrun, vessels: Path, tmp_path: Path) -> None:
    paint(tmp_path / "shelf" / "20991231_2359.png", ("B001", 30))
    paint(tmp_path / "shelf" / "20200101_0900.png", ("B001", 31))
    outcome = spawnrun("measure", "shelf", "--vessels", "vessels.csv", "--format", "json")
    flags = {one["photo"]: one["flags"] for one in json.loads(outcome.out)}
    assert flags == {
        "shelf/20200101_0900.png": ["taken_before_inoculation"],
        "shelf/20991231_2359.png": ["taken_in_future"],
    }
