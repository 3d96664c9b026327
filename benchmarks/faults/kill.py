"""SIGKILL work at a given moment, run it again, and compare with uninterrupted work."""

import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory

from farm.records import import_vessels
from farm.store import RECORDS_FILE, create_farm
from farm.upkeep import Damage, check_farm, restore_farm
from tests.farm.painted import paint
from tests.processes import is_running

ROOT = Path(__file__).parents[2]
#: Columns that may differ between two runs of the same work: times of processing, and counts of changes.
_OF_THE_RUN = {
    ("photos", "measured_at"),
    ("vessels", "revision"),
    ("vessels", "summary"),
    ("meta", "value"),
    ("notes", "id"),
    ("notes", "at"),
    ("events", "id"),
    ("harvests", "id"),
    ("readings", "id"),
}
#: Processes that the killed one had started must have ended after so many seconds.
_ENDS_WITHIN_SECONDS = 15.0
#: Not by -m: each worker would load that module, with all that it imports, before it does anything; `spawnrun` loads
#: little there.
_WORK = "import sys; from benchmarks.faults.work import main; main(*sys.argv[1:])"
_KNOWN_HIDDEN = frozenset((".lock", ".spawnrun-output"))
_VESSELS = "id,kind,species,substrate,inoculated,batch,smell\n"


@dataclass(frozen=True)
class Outcome:
    """is_killed: the work was still running. differences: from uninterrupted work, in words."""

    is_killed: bool
    differences: tuple[str, ...]


def make_photos(folder: Path, count: int) -> Path:
    """Painted photos of three bags each, one of them with a growing spot."""
    for number in range(count):
        share = 100 * number // count
        spot = ("B002", share // 2, 1 + number // 4)
        name = f"2026{3 + number // 28:02}{1 + number % 28:02}_1000.png"
        paint(folder / name, ("B001", share), spot, ("B003", share // 3))
    return folder


def make_table(target: Path, count: int) -> Path:
    """A table of vessels, each with a note."""
    rows = (f"V{number:05},jar,oyster,rye grain,2026-03-01,FIRST,sweet\n" for number in range(count))
    target.write_text(_VESSELS + "".join(rows))
    return target


def make_farm(folder: Path) -> Path:
    """A farm with three bags."""
    table = folder.with_suffix(".csv")
    table.write_text(_VESSELS + "".join(f"B00{n},bag,oyster,sawdust,2026-02-27,FIRST,\n" for n in (1, 2, 3)))
    with create_farm(folder) as farm:
        import_vessels(farm, table)
    return folder


def start(what: str, farm: Path, source: Path) -> "subprocess.Popen[str]":
    """A process that has just started the work."""
    command = [sys.executable, "-c", _WORK, what, str(farm), str(source)]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    process.stdout.readline()
    process.stdout.close()
    return process


def work_whole(what: str, farm: Path, source: Path) -> float:
    """Seconds that the work takes without interruption."""
    process = start(what, farm, source)
    begun = time.monotonic()
    assert process.wait(timeout=600) == 0
    return time.monotonic() - begun


def kill_and_go_on(what: str, farm: Path, source: Path, seconds: float, whole: Path) -> Outcome:
    """Kill the work after ``seconds``, run it again, and compare with a farm where it was not interrupted."""
    process = start(what, farm, source)
    time.sleep(seconds)
    begun = children_of(process.pid)
    is_killed = process.poll() is None
    process.kill()
    process.wait(timeout=60)
    left = _still_running(begun)
    broken = _integrity(farm) if (farm / RECORDS_FILE).exists() else ()
    work_whole(what, farm, source)
    faults = tuple(f"{one.where}: {one.found}" for one in check_farm(farm) if _is_of_ours(one))
    found = (*left, *broken, *_integrity(farm), *faults, *_strays(farm), *differences(farm, whole))
    if what == "backup":
        found = (*found, *_restored_differences(farm, whole))
    return Outcome(is_killed, found)


def _strays(farm: Path) -> tuple[str, ...]:
    """Files and folders that were half made, in the farm and beside it."""
    beside = [one for one in farm.parent.glob(".*") if farm.name in one.name or "backup" in one.name]
    return tuple(f"{one.name} is left" for one in [*farm.glob(".*"), *beside] if one.name not in _KNOWN_HIDDEN)


def _restored_differences(farm: Path, whole: Path) -> tuple[str, ...]:
    """Tables and faces in which the farm of a backup differs."""
    with TemporaryDirectory() as home:
        restore_farm(farm.with_suffix(".zip"), Path(home) / "restored").close()
        return tuple(f"in the backup, {one}" for one in differences(Path(home) / "restored", whole))


def children_of(pid: int) -> list[int]:
    """The processes that a process has started, and those that they have (on Linux)."""
    listed = subprocess.run(["ps", "-eo", "pid,ppid"], capture_output=True, text=True, check=True, timeout=30).stdout
    rows = [tuple(map(int, line.split())) for line in listed.splitlines()[1:]]
    found = {pid}
    for _ in range(4):
        found |= {child for child, parent in rows if parent in found}
    return sorted(found - {pid})


def _still_running(pids: list[int]) -> tuple[str, ...]:
    until = time.monotonic() + _ENDS_WITHIN_SECONDS
    while time.monotonic() < until and any(map(is_running, pids)):
        time.sleep(0.05)
    return tuple(f"process {pid} goes on" for pid in pids if is_running(pid))


def differences(farm: Path, whole: Path) -> tuple[str, ...]:
    """Tables and faces in which two farms differ."""
    one, other = _contents(farm), _contents(whole)
    return tuple(f"{name} differs" for name in sorted(one.keys() | other.keys()) if one.get(name) != other.get(name))


def _contents(farm: Path) -> dict[str, object]:
    found: dict[str, object] = {}
    with closing(sqlite3.connect(farm / "records.sqlite")) as records:
        for (table,) in list(records.execute("SELECT name FROM sqlite_master WHERE type = 'table'")):
            columns = [row[1] for row in records.execute(f"PRAGMA table_info({table})")]
            wanted = ", ".join(f'"{one}"' for one in columns if (table, one) not in _OF_THE_RUN)
            found[table] = sorted(map(repr, records.execute(f"SELECT {wanted} FROM {table}")))  # noqa: S608 - its own names
    for face in (farm / "faces").rglob("*.face"):
        if not face.name.startswith("."):
            found[face.name] = sha256(face.read_bytes()).hexdigest()
    return found


def _integrity(farm: Path) -> tuple[str, ...]:
    with closing(sqlite3.connect(farm / "records.sqlite")) as records:
        said = [row[0] for row in records.execute("PRAGMA integrity_check")]
        said += [f"foreign key {row}" for row in records.execute("PRAGMA foreign_key_check")]
    return tuple(one for one in said if one != "ok")


def _is_of_ours(damage: Damage) -> bool:
    """Whether a kill must not leave this file; temporary files with another name may stay."""
    return damage.is_fault
