"""`spawnrun measure`: complete records on standard output, messages on standard error, and the exit code."""

import csv
import io
import json
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from tests.cli.conftest import Spawnrun
from tests.farm.painted import NO_PERCENT, at, paint
from tests.processes import started
from tests.vision.drawn import bag_photo

KEYS = [
    "photo",
    "taken_at",
    "vessel",
    "side",
    "kind",
    "status",
    "reason",
    "percent",
    "percent_low",
    "percent_high",
    "hidden_percent",
    "steep_percent",
    "mm_per_px",
    "face_box",
    "suspects",
    "signs",
    "flags",
    "percent_alone",
    "taken_from",
]


@pytest.mark.usefixtures("painted")
def test_json_is_a_plain_list_of_records(spawnrun: Spawnrun, vessels: Path, photos: Path) -> None:
    outcome = spawnrun("measure", "photos", "--vessels", "vessels.csv", "--format", "json")
    assert outcome.code == 0
    assert outcome.err == ""
    records = json.loads(outcome.out)
    assert len(records) == 18
    assert all(list(record) == KEYS for record in records)
    assert records[10] == {
        "photo": "photos/20260310_1000.png",
        "taken_at": "2026-03-10T10:00",
        "vessel": "B002",
        "side": "front",
        "kind": "bag",
        "status": "ok",
        "reason": "",
        "percent": 45.0,
        "percent_low": 42.0,
        "percent_high": 48.0,
        "hidden_percent": 1.0,
        "steep_percent": None,
        "mm_per_px": 0.5,
        "face_box": [0, 0, 30, 40],
        "suspects": [{"colour": "green", "area_cm2": 4.0, "box": [2, 3, 4, 5], "score": 0.9, "own_colour": False}],
        "signs": [],
        "flags": [],
        "percent_alone": 45.0,
        "taken_from": "file name",
    }


def test_the_output_is_the_same_with_and_without_a_farm_and_in_a_second_run(
    spawnrun: Spawnrun, week: Path, vessels: Path, photos: Path
) -> None:
    alone = spawnrun("measure", "photos", "--vessels", "vessels.csv", "--format", "json")
    with_farm = spawnrun("measure", "photos", "--farm", "home", "--format", "json")
    assert with_farm.out == alone.out
    again = spawnrun("measure", "photos", "--farm", "home")
    assert "6 photos, 0 new" in again.err


def test_what_is_new_is_listed_the_rest_in_one_line_and_then_the_next_command(spawnrun: Spawnrun, week: Path) -> None:
    known = spawnrun("measure", "photos", "--farm", "home")
    assert (known.code, known.out.split()) == (0, ["nothing", "new"])
    assert "known already and not listed again: 6 photos" in known.err
    paint(Path("photos", "20260316_1000.png"), ("B001", 100), ("B002", 55))
    fresh = spawnrun("measure", "photos", "--farm", "home")
    assert [line.split()[3] for line in fresh.out.splitlines()[1:]] == ["B001", "B002"]
    assert fresh.err.splitlines()[-1] == "next: spawnrun ready --farm home"
    assert "next" not in spawnrun("measure", "photos", "--vessels", "vessels.csv").err
    assert "next" not in spawnrun("measure", "photos", "--farm", "home", "--format", "json").err


@pytest.mark.usefixtures("painted")
def test_of_very_many_readings_the_table_has_what_asks_for_something(spawnrun: Spawnrun, tmp_path: Path) -> None:
    ids = [f"C{number:02}" for number in range(1, 46)]
    (tmp_path / "many.csv").write_text("vessel,kind,inoculated\nC01..C45,bag,2026-03-01\n", "utf-8")
    for command in (("init", "home"), ("vessel", "import", "many.csv", "--farm", "home")):
        assert spawnrun(*command).code == 0
    # C42 is photographed again, and read.
    for day, refused in ((4, {"C40", "C41", "C42"}), (6, {"C40", "C41"})):
        rows = [(one, NO_PERCENT if one in refused else 8 * day) for one in ids]
        paint(tmp_path / "shelf" / f"202603{day:02}_1000.png", *rows[1:], ("C01", 8 * day, 3), ("X9", 20))
    found = spawnrun("measure", "shelf", "--farm", "home")
    table, _, again = found.out.partition("\n\n")
    assert [line.split()[3] for line in table.splitlines()[1:]] == ["C01", "X9", "C01", "X9"]
    assert again == "To be photographed again\n  C40, C41: it cannot be told\n"
    said = found.err.splitlines()
    assert "nothing to look at, and not listed: 83 readings of 42 vessels, 32 to 48 %" in said
    assert "every vessel by itself: spawnrun ready --each --farm home" in said
    everything = json.loads(spawnrun("measure", "shelf", "--farm", "home", "--format", "json").out)
    assert len(everything) == 2 * len(rows) + 2
    alone = spawnrun("measure", "shelf", "--vessels", "many.csv")  # nothing keeps these: all are listed
    assert len(alone.out.splitlines()) == 1 + len(everything)


@pytest.mark.usefixtures("painted")
def test_csv_and_table_hold_the_same_readings(spawnrun: Spawnrun, vessels: Path, photos: Path) -> None:
    rows = list(
        csv.DictReader(io.StringIO(spawnrun("measure", "photos", "--vessels", "vessels.csv", "--format", "csv").out))
    )
    assert list(rows[0]) == KEYS
    assert json.loads(rows[10]["suspects"])[0]["colour"] == "green"
    table = spawnrun("measure", "photos", "--vessels", "vessels.csv")
    assert len(table.out.splitlines()) == 1 + 18
    assert "45 (42–48)  green 4.0 cm2" in table.out
    assert table.err == "6 photos, 6 new; 18 readings, 0 without a percent\n"
    assert "\x1b" not in table.out


@pytest.mark.usefixtures("painted")
def test_a_photo_without_a_reading_is_reported_by_the_exit_code_and_its_record(
    spawnrun: Spawnrun, vessels: Path, photos: Path
) -> None:
    (photos / "20260311_1000.jpg").write_bytes(b"\xff\xd8\xff but no more")
    outcome = spawnrun("measure", "photos", "--vessels", "vessels.csv", "--format", "json")
    assert outcome.code == 3
    (bad,) = [record for record in json.loads(outcome.out) if record["status"] != "ok"]
    assert (bad["photo"], bad["vessel"], bad["status"], bad["percent"]) == (
        "photos/20260311_1000.jpg",
        None,
        "unusable",
        None,
    )
    assert bad["reason"]


@pytest.mark.usefixtures("painted")
def test_photos_without_a_date_give_one_warning(spawnrun: Spawnrun, vessels: Path, tmp_path: Path) -> None:
    for name in ("a.png", "b.png"):
        at(paint(tmp_path / "shelf" / name, ("B001", len(name))), "2026-03-05T10:00")
    paint(tmp_path / "shelf" / "b.png", ("B001", 9))
    outcome = spawnrun("measure", "shelf", "--vessels", "vessels.csv", "--format", "json")
    assert outcome.err == "warning: 2 photos have no date; the file's own time was taken (first: shelf/a.png)\n"


@pytest.mark.usefixtures("painted")
def test_class_maps_keep_the_folders_and_the_size_of_the_photos(
    spawnrun: Spawnrun, vessels: Path, photos: Path, tmp_path: Path
) -> None:
    from PIL import Image

    paint(photos / "more" / "20260310_1000.png", ("J001", 77))
    assert spawnrun("measure", "photos", "--vessels", "vessels.csv", "--classes", "look").code == 0
    written = sorted(path.relative_to("look").as_posix() for path in Path("look").rglob("*.*") if path.suffix)
    assert "20260310_1000.png" in written
    assert "more/20260310_1000.png" in written
    assert "more/20260310_1000_overlay.jpg" in written
    with Image.open("look/20260310_1000.png") as classes, Image.open(photos / "20260310_1000.png") as photo:
        assert classes.size == photo.size
        assert classes.mode == "L"
    again = spawnrun("measure", ".", "--vessels", "vessels.csv", "--format", "json")
    assert {record["photo"].split("/")[0] for record in json.loads(again.out)} == {"photos"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("measure", "photos"), "no farm in"),
        (("measure", "photos", "--farm", "nowhere"), "there is no folder nowhere"),
        (("measure", "photos", "--farm", "photos"), "photos is not a farm"),
        (("measure", "nothing", "--vessels", "vessels.csv"), "nothing: no such file or folder"),
        (("measure", "photos", "--vessels", "none.csv"), "none.csv: nothing was taken in"),
        (("measure", "photos", "--vessels", "vessels.csv", "--farm", "x"), "a farm has its vessels"),
        (("measure", "photos", "--events", "events.csv", "--farm", "x"), "goes with --vessels"),
        (("measure", "photos", "--kind", "sack"), "sack"),
        (("measure", "photos", "--vessels", "vessels.csv", "--classes", "photos"), "photos holds other pictures"),
        (("measure", "photos", "--vessels", "vessels.csv", "--classes", "."), "holds other pictures"),
        (("measure",), "PATHS"),
    ],
)
def test_bad_input_and_usage_exit_with_2_and_a_reason(
    spawnrun: Spawnrun, vessels: Path, photos: Path, arguments: tuple[str, ...], said: str
) -> None:
    outcome = spawnrun(*arguments)
    assert outcome.code == 2
    assert outcome.out == ""
    assert said in outcome.err
    assert "Traceback" not in outcome.err


@pytest.mark.usefixtures("painted")
def test_shakes_can_be_reported_without_a_farm(spawnrun: Spawnrun, vessels: Path, tmp_path: Path) -> None:
    paint(tmp_path / "jar" / "20260306_1000.png", ("J001", 33))
    paint(tmp_path / "jar" / "20260307_1000.png", ("J001", 2))
    (tmp_path / "events.csv").write_text("vessel,event,at\nJ001,shaken,2026-03-06T18:00\n")
    plain = spawnrun("measure", "jar", "--vessels", "vessels.csv", "--format", "json")
    told = spawnrun("measure", "jar", "--vessels", "vessels.csv", "--events", "events.csv", "--format", "json")
    assert [record["percent"] for record in json.loads(plain.out)] == [33, 33]
    assert [record["percent"] for record in json.loads(told.out)] == [33, 2]


def test_watching_measures_new_photos_until_ctrl_c(tmp_path: Path) -> None:
    """As a separate process, with the signal that a terminal sends: it ends at once, without a traceback or a loss."""
    samples = Path(__file__).parents[2] / "sample_images"
    (inbox := tmp_path / "inbox").mkdir()
    command = [
        sys.executable,
        "-c",
        "import cli; cli.main()",
        "measure",
        "--watch",
        str(inbox),
        "--vessels",
        str(samples / "vessels.csv"),
    ]
    command += ["--workers", "1", "--format", "csv"]
    # Its output goes to files, so that no full pipe can hold it up.
    with (
        (tmp_path / "out").open("w") as out,
        (tmp_path / "err").open("w") as err,
        started(command, stdout=out, stderr=err, cwd=samples.parent) as watching,
    ):
        wait_for(lambda: "watching" in (tmp_path / "err").read_text(), watching)
        shutil.copy(next((samples / "photos" / "plates").glob("*.jpg")), inbox / "new.jpg")
        wait_for(lambda: "P001" in (tmp_path / "out").read_text(), watching)
        watching.send_signal(signal.SIGINT)
        assert watching.wait(60) == 0
    rows = list(csv.DictReader((tmp_path / "out").read_text().splitlines()))
    assert {Path(row["photo"]).name for row in rows} == {"new.jpg"}
    assert "watching ended" in (tmp_path / "err").read_text()
    assert "Traceback" not in (tmp_path / "err").read_text()


def wait_for(condition: Callable[[], bool], process: "subprocess.Popen[bytes]") -> None:
    deadline = time.monotonic() + 120
    while not condition():
        assert process.poll() is None, "it ended by itself"
        assert time.monotonic() < deadline, "it never came"
        time.sleep(0.1)


def test_one_folder_is_watched(spawnrun: Spawnrun, vessels: Path) -> None:
    outcome = spawnrun("measure", "--watch", "a", "b", "--vessels", "vessels.csv")
    assert (outcome.code, "takes one folder" in outcome.err) == (2, True)
    assert "no such folder to watch" in spawnrun("measure", "--watch", "none", "--vessels", "vessels.csv").err


@pytest.mark.usefixtures("painted")
def test_a_table_among_photos_is_ignored(spawnrun: Spawnrun, vessels: Path, photos: Path) -> None:
    spawnrun("init", "home")
    alone = spawnrun("measure", "vessels.csv", "--farm", "home")
    assert alone.code == 2
    assert "vessels.csv: not a photo by its ending" in alone.err
    assert "spawnrun vessel import" in alone.err
    photo = str(next(photos.iterdir()))
    both = spawnrun("measure", photo, "vessels.csv", "--farm", "home", "--format", "json")
    assert both.code == 3
    assert [one["status"] for one in json.loads(both.out)][-1] == "unusable"
    again = spawnrun("export", "--out", "out", "--farm", "home")
    assert again.code == 0
    assert "vessels.csv" not in Path("out/readings.csv").read_text()


def test_a_labelled_bag_is_read_outside_a_farm_given_only_its_kind(spawnrun: Spawnrun, tmp_path: Path) -> None:
    Image.fromarray(bag_photo("B9", 0.5)).save("20260305_1000.png")
    read = spawnrun("measure", "20260305_1000.png", "--kind", "bag", "--format", "json", "--workers", "1")
    (one,) = json.loads(read.out)
    assert (read.code, one["vessel"], one["kind"], one["status"], one["flags"]) == (0, "B9", "bag", "ok", [])
    Image.fromarray(bag_photo("B9/BACK", 0.5)).save("20260306_1000.png")
    back = spawnrun("measure", "20260306_1000.png", "--kind", "bag", "--workers", "1")
    assert "B9 (back)" in back.out


def test_a_kind_given_after_measuring_leads_to_advice_on_measuring_again(spawnrun: Spawnrun) -> None:
    spawnrun("init", "home")
    Image.new("RGB", (400, 400), (120, 120, 120)).save("20260305_1000.png")
    assert "say --kind" in spawnrun("measure", "20260305_1000.png", "--farm", "home").out
    late = spawnrun("measure", "20260305_1000.png", "--farm", "home", "--kind", "bag")
    assert "1 photo without a percent had been read before: --again reads it with --kind" in " ".join(late.err.split())
    again = spawnrun("measure", "20260305_1000.png", "--farm", "home", "--kind", "bag", "--again")
    assert "no vessel found" in again.out
    assert "read before" not in again.err


def test_sending_photos_needs_a_cluster(spawnrun: Spawnrun, week: Path) -> None:
    outcome = spawnrun("measure", ".", "--farm", str(week), "--send-photos")
    assert outcome.code == 2
    assert "goes with --scheduler" in outcome.err
