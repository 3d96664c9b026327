"""Killed processes, full disks, clocks that jump: a clear message, nothing lost, nothing stored twice."""

import os
import random
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from benchmarks.faults.before import before
from benchmarks.faults.kill import differences, kill_and_go_on, make_farm, make_photos, make_table, start, work_whole
from farm.lists import list_today
from farm.measure import Vision, measure_paths
from farm.outlook import bring_up_to_date
from farm.records import (
    add_event,
    add_note,
    add_vessels,
    import_vessels,
    list_events,
    list_readings,
    list_vessels,
    moment,
    notes_of,
    remove_event,
)
from farm.records.models import Vessel
from farm.store import Farm, create_farm, iso, open_farm, to_instant
from farm.store.errors import FarmFullError, FarmShutError
from farm.upkeep import check_farm
from tests.farm.painted import paint
from tests.permissions import file_modes_apply

pytestmark = pytest.mark.slow

VIENNA = 'time_zone = "Europe/Vienna"\n'


@pytest.mark.parametrize("what", ["batch", "import", "workers"])
def test_killed_work_that_is_run_again_ends_as_if_undisturbed(tmp_path: Path, what: str) -> None:
    """One moment of each; `python -m benchmarks.faults` tries sixty."""
    source = make_table(tmp_path / "table.csv", 2000) if what == "import" else make_photos(tmp_path / "photos", 40)
    whole = make_farm(tmp_path / "whole")
    seconds = work_whole(what, whole, source)
    chance = random.Random(f"tests {what}")
    farm = make_farm(tmp_path / "farm")
    outcome = kill_and_go_on(what, farm, source, chance.uniform(0, seconds * 0.8), whole)
    assert outcome.differences == ()


@pytest.mark.parametrize("what", ["backup", "migrate", "series", "mend", "steps"])
def test_other_killed_work_that_is_given_again_ends_as_if_undisturbed(tmp_path: Path, what: str) -> None:
    """Nothing half made stays either, in the farm or beside it."""
    measured = make_farm(tmp_path / "measured")
    work_whole("batch", measured, make_photos(tmp_path / "photos", 15))
    whole = before(what, tmp_path / "whole", measured, 1000)
    seconds = work_whole(what, whole, Path("-"))
    chance = random.Random(f"tests {what}")
    for number in range(2):
        farm = before(what, tmp_path / f"farm{number}", measured, 1000)
        outcome = kill_and_go_on(what, farm, Path("-"), chance.uniform(0, seconds * 0.8), whole)
        assert outcome.differences == ()


def test_the_comparison_detects_a_difference(tmp_path: Path) -> None:
    whole, other = make_farm(tmp_path / "whole"), make_farm(tmp_path / "other")
    assert differences(other, whole) == ()
    with open_farm(other) as farm:
        add_note(farm, "B001", "one more")
    assert differences(other, whole) == ("notes differs",)


def test_two_processes_that_measure_the_same_folder_store_each_photo_once(tmp_path: Path) -> None:
    photos = make_photos(tmp_path / "photos", 40)
    whole, both = make_farm(tmp_path / "whole"), make_farm(tmp_path / "both")
    work_whole("batch", whole, photos)
    several = [start("batch", both, photos) for _ in range(2)]
    assert [one.wait(timeout=120) for one in several] == [0, 0]
    assert differences(both, whole) == ()
    assert [one for one in check_farm(both) if one.is_fault] == []


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 2 MB in memory."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = shutil.which("mount")
    if mount is None or not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root can mount a small disk")
    done = subprocess.run([mount, "-t", "tmpfs", "-o", "size=2m", "tmpfs", place], capture_output=True, timeout=30)
    if done.returncode != 0:
        pytest.skip(f"a small disk cannot be mounted here: {done.stderr.decode().strip()}")
    yield place
    subprocess.run(["umount", place], check=True, timeout=30)


def write_notes(farm: Farm, count: int) -> None:
    for number in range(count):
        add_note(farm, "B001", f"{number} " + "much to say " * 2000)


def test_a_full_disk_is_reported_and_loses_nothing(small_disk: Path, tmp_path: Path, vision: Vision) -> None:
    folder = make_farm(small_disk / "farm")
    photos = make_photos(tmp_path / "photos", 30)
    filler = small_disk / "filler"
    with open_farm(folder) as farm:
        measure_paths(farm, sorted(photos.iterdir())[:10], vision=vision)
        before = list_readings(farm)
        free = shutil.disk_usage(small_disk).free
        filler.write_bytes(b"x" * max(0, free - 30_000))
        with pytest.raises((FarmFullError, OSError), match=r"full|No space left"):
            measure_paths(farm, [photos], vision=vision)
        with pytest.raises((FarmFullError, OSError), match=r"full|No space left"):
            write_notes(farm, 400)
    with closing(sqlite3.connect(folder / "records.sqlite")) as records:
        assert records.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    with open_farm(folder) as farm:
        kept = list_readings(farm)
        assert {one.key for one in before} <= {one.key for one in kept}
        filler.unlink()
        measure_paths(farm, [photos], vision=vision)
        assert len(list_readings(farm)) == 90
    assert [one for one in check_farm(folder) if one.is_fault] == []


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="Windows has other permissions")
def test_a_folder_without_write_permission_is_reported(
    farm: Farm, vessels_csv: Path, vision: Vision, tmp_path: Path
) -> None:
    import_vessels(farm, vessels_csv)
    photo = paint(tmp_path / "20260305_1000.png", ("B001", 30))
    farm.close()
    kept = [farm.folder, *farm.folder.rglob("*")]
    modes = {one: one.stat().st_mode for one in kept}
    for one in kept:
        one.chmod(modes[one] & ~0o222)
    refused = pytest.raises((FarmShutError, PermissionError), match=r"cannot be used|denied")
    try:
        with file_modes_apply(), refused, open_farm(farm.folder) as opened:
            measure_paths(opened, [photo], vision=vision)
    finally:
        for one in kept:
            one.chmod(modes[one])
    with open_farm(farm.folder) as opened:
        assert list_readings(opened) == []
        assert len(list_vessels(opened)) == 3


def test_a_clock_that_was_set_back_loses_nothing(
    farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The machine's battery is empty and its clock says January, so photos of March lie in the future."""
    import_vessels(farm, vessels_csv)
    for day in (3, 5, 7):
        paint(tmp_path / "photos" / f"202603{day:02}_1000.png", ("B001", 9 * day))
    measure_paths(farm, sorted((tmp_path / "photos").iterdir())[:2], vision=vision)
    for module in ("measure.run", "store.clock", "store.folder", "records.vessels"):
        monkeypatch.setattr(f"farm.{module}.now", lambda: datetime(2026, 1, 1, tzinfo=UTC))
    measure_paths(farm, [tmp_path / "photos"], vision=vision)
    assert [one.percent for one in list_readings(farm)] == [27, 45, 63]
    assert [one.flags for one in list_readings(farm)] == [(), (), ("taken_in_future",)]
    assert {item.outlook.vessel.id for item in list_today(farm, bring_up_to_date(farm))} == {
        "B001", "B002", "J001",
    }  # fmt: skip


@pytest.fixture
def viennese(tmp_path: Path) -> Iterator[Farm]:
    create_farm(tmp_path / "vienna").close()
    (tmp_path / "vienna" / "farm.toml").write_text(VIENNA)
    with open_farm(tmp_path / "vienna") as farm:
        yield farm


def test_a_time_in_the_missing_hour_of_spring(viennese: Farm, tmp_path: Path, vision: Vision) -> None:
    """29 March 2026, 02:00 to 03:00 do not exist in Vienna (Directive 2000/84/EC): read as if the clock stood still."""
    add_vessels(viennese, [Vessel("B001", "bag", datetime(2026, 3, 20, tzinfo=UTC))])
    names = ("20260329_0159", "20260329_0230", "20260329_0331")
    for percent, name in enumerate(names, start=1):
        paint(tmp_path / "photos" / f"{name}.png", ("B001", percent))
    measure_paths(viennese, [tmp_path / "photos"], vision=vision)
    read = list_readings(viennese)
    assert [one.percent for one in read] == [1, 2, 3]
    assert [iso(one.taken_at, viennese.zone) for one in read] == [
        "2026-03-29T01:59", "2026-03-29T03:30", "2026-03-29T03:31",
    ]  # fmt: skip
    assert read[2].taken_at - read[0].taken_at == timedelta(minutes=32)


def test_a_time_in_the_double_hour_of_autumn(viennese: Farm) -> None:
    """25 October 2026, 02:00 to 03:00 come twice in Vienna (Directive 2000/84/EC); without offset it is the first."""
    first, second = (datetime(2026, 10, 25, hour, 30, tzinfo=UTC) for hour in (0, 1))
    assert to_instant(moment("2026-10-25T02:30"), viennese.zone) == first
    assert to_instant(moment("2026-10-25T02:30+01:00"), viennese.zone) == second
    assert [iso(one, viennese.zone) for one in (first, second)] == ["2026-10-25T02:30", "2026-10-25T02:30+01:00"]
    for one in (first, second):
        assert to_instant(moment(iso(one, viennese.zone)), viennese.zone) == one
    add_vessels(viennese, [Vessel("J001", "jar", datetime(2026, 10, 1, tzinfo=UTC))])
    for one in (first, second):
        add_event(viennese, "J001", "shaken", one)
    remove_event(viennese, "J001", "shaken", first)
    assert [event.at for event in list_events(viennese)] == [second]


def test_a_vessel_of_the_double_hour_is_exported_and_imported_unchanged(viennese: Farm, tmp_path: Path) -> None:
    from report import export_farm

    add_vessels(viennese, [Vessel("J001", "jar", datetime(2026, 10, 25, 1, 30, tzinfo=UTC))])
    export_farm(viennese, tmp_path / "out")
    count = import_vessels(viennese, tmp_path / "out" / "vessels.csv")
    assert (count.added, count.changed, count.same) == (0, 0, 1)


def test_a_failed_import_stores_nothing(farm: Farm, vessels_csv: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped after the vessels, before their notes."""
    vessels_csv.write_text(vessels_csv.read_text().replace("label_size\n", "smell\n").replace(",small", ",sweet"))

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("farm.records.vessels.insert_note", stop)
        with pytest.raises(KeyboardInterrupt):
            import_vessels(farm, vessels_csv)
    assert list_vessels(farm) == []
    assert import_vessels(farm, vessels_csv).added == 3
    assert [note.text for note in notes_of(farm, "J001")] == ["smell: sweet"]
