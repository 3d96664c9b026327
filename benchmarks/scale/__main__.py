"""Print time and memory for thousands of photos and hundreds of thousands of records, and how they grow.

python -m benchmarks.scale                          # all of it: about an hour on two cores
python -m benchmarks.scale batch --photos 200       # photos: cost of each, memory of parent and workers
python -m benchmarks.scale age --days 60            # one more photo after 3, 6 ... 60
python -m benchmarks.scale farm --postgresql        # records: a list, a photo and a report on a large farm
"""

import argparse
import shutil
import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from tempfile import mkdtemp

from benchmarks.scale.age import ageing_costs
from benchmarks.scale.big_farm import NOW, add_photo, make_big_farm
from benchmarks.scale.shelves import write_shelves
from benchmarks.scale.watched import Watched, spawnrun
from farm.measure import RunOptions, measure_paths
from farm.records import import_vessels
from farm.store import Farm, create_farm, open_farm
from farm.workers import all_cores


def main() -> None:
    """Run the parts asked for."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("parts", nargs="*", help="batch, age, farm; none: all")
    asked.add_argument("--photos", type=int, default=1000)
    asked.add_argument("--few", type=int, default=10)
    asked.add_argument("--days", type=int, default=60)
    asked.add_argument("--vessels", type=int, default=5000)
    asked.add_argument("--readings", type=int, default=100, help="of each vessel")
    asked.add_argument("--rounds", type=int, default=5)
    asked.add_argument("--no-report", action="store_true", help="leave out the report, which takes longest")
    asked.add_argument("--postgresql", action="store_true", help="the farm on a server of its own too")
    arguments = asked.parse_args()
    home = Path(mkdtemp(prefix="spawnrun-scale-"))
    try:
        if "batch" in arguments.parts or not arguments.parts:
            _batch(home, arguments.few, arguments.photos)
        if "age" in arguments.parts or not arguments.parts:
            _age(home / "age", arguments.days)
        if "farm" in arguments.parts or not arguments.parts:
            _farms(home, arguments)
    finally:
        shutil.rmtree(home)


def _row(*cells: object) -> None:
    print("| " + " | ".join(f"{one:.2f}" if isinstance(one, float) else str(one) for one in cells) + " |", flush=True)


def _batch(home: Path, few: int, many: int) -> None:
    """Measure few and many photos in this process on one core (cost of each), and as a command on all (memory)."""
    _row(
        "photos of 12 megapixels, 8 bags each",
        "core-seconds a photo",
        "ratio to few",
        "parent, MiB",
        "worker, MiB",
    )
    _row(*["---"] * 5)
    write_shelves(home / "few", few)
    write_shelves(home / "many", many)
    write_shelves(home / "warm", 2)
    _cost(home / "warm", "timed")
    costs = {name: _cost(home / name, "timed") for name in ("few", "many")}
    for name, count in (("few", few), ("many", many)):
        farm = home / name / "farm"
        spawnrun("init", farm)
        spawnrun("vessel", "import", home / name / "vessels.csv", "--farm", farm)
        seen = spawnrun(
            "measure", home / name / "photos", "--farm", farm, "--workers", str(all_cores()), "--format", "csv"
        )
        shown = f"{count}, whole command on {all_cores()} cores: {seen.seconds / count:.2f} s a photo"
        _row(shown, costs[name] / count, costs[name] / count / (costs["few"] / few), seen.parent_mib, seen.worker_mib)
    write_shelves(home / "huge", 2, times=3)
    spawnrun("init", home / "huge" / "farm")
    spawnrun("vessel", "import", home / "huge" / "vessels.csv", "--farm", home / "huge" / "farm")
    seen = spawnrun("measure", home / "huge" / "photos", "--farm", home / "huge" / "farm", "--workers", "2")
    _row("2, of 108 megapixels", seen.seconds / 2, "", seen.parent_mib, seen.worker_mib)


def _age(home: Path, days: int) -> None:
    _row("photos of each vessel", "core-seconds of a photo of 8 bags", "ratio to the first", "kept for a vessel, MiB")
    _row(*["---"] * 4)
    first = 0.0
    for aged in ageing_costs(home, days):
        first = first or aged.core_seconds
        _row(aged.photos, aged.core_seconds, aged.core_seconds / first, aged.bytes_a_vessel / 2**20)


def _cost(home: Path, name: str) -> float:
    """Processor seconds that this process takes for the photos of a folder."""
    import cv2

    cv2.setNumThreads(1)
    with create_farm(home / name) as farm:
        import_vessels(farm, home / "vessels.csv")
        begun = time.process_time()
        measure_paths(farm, [home / "photos"], RunOptions(workers=1))
        return time.process_time() - begun


def _farms(home: Path, arguments: argparse.Namespace) -> None:
    print(f"\n{arguments.vessels} running vessels with {arguments.readings} readings each; {arguments.rounds} rounds\n")
    _row("records", "what", "seconds", "core-seconds", "ratio or size")
    _row(*["---"] * 5)
    write_shelves(home / "one", 1)
    _large(home / "sqlite", home / "one", arguments, "", "SQLite")
    if arguments.postgresql:
        from tests.postgresql import running_server

        with running_server() as server:
            _large(
                home / "postgresql", home / "one", arguments, server.new_database(), "PostgreSQL", server.new_database()
            )


def _large(
    folder: Path, photo: Path, arguments: argparse.Namespace, records: str, name: str, empty_records: str = ""
) -> None:
    with _password(records), make_big_farm(folder, arguments.vessels, arguments.readings, records=records) as farm:
        import_vessels(farm, photo / "vessels.csv")
        first = spawnrun("ready", "--farm", folder)
        _row(
            name,
            "ready, the first time (all is fitted)",
            first.seconds,
            first.core_seconds,
            f"{first.parent_mib:.0f} MiB",
        )
        seen = [spawnrun("ready", "--farm", folder) for _ in range(arguments.rounds)]
        wall, core = (statistics.median(getattr(one, of) for one in seen) for of in ("seconds", "core_seconds"))
        _row(name, "ready", wall, core, f"{seen[0].parent_mib:.0f} MiB")
        seen = [_ready_after_photo(farm, number) for number in range(arguments.rounds)]
        wall, core = (statistics.median(getattr(one, of) for one in seen) for of in ("seconds", "core_seconds"))
        _row(name, "ready after one photo of 8 vessels", wall, core, f"{seen[0].parent_mib:.0f} MiB")
        with create_farm(folder.with_name(f"{folder.name}-empty"), records=empty_records) as empty:
            import_vessels(empty, photo / "vessels.csv")
            _photo_on(name, farm, empty, photo / "photos", arguments.rounds)
        if arguments.no_report:
            return
        report = spawnrun("report", "--farm", folder)
        front = (folder / "report.html").stat().st_size / 1e6
        pages = [page.stat().st_size / 1e6 for page in (folder / "report-pages").glob("*.html")]
        most = max(pages, default=0.0)
        sizes = f"front {front:.1f} MB, {len(pages)} pages to {most:.1f} MB, {report.parent_mib:.0f} MiB"
        _row(name, "report (no faces kept; the day before fitted too)", report.seconds, report.core_seconds, sizes)


def _ready_after_photo(farm: Farm, number: int) -> Watched:
    """The list after a photo of another batch each time."""
    add_photo(farm, 5 * number, NOW - timedelta(hours=1))
    return spawnrun("ready", "--farm", farm.folder)


def _photo_on(name: str, large: Farm, empty: Farm, photos: Path, rounds: int) -> None:
    """One photo, measured again each time, alternately on the large farm and on one with only the photo's vessels."""

    def timed(farm: Farm) -> float:
        begun = time.perf_counter()
        with open_farm(farm.folder) as opened:
            measure_paths(opened, [photos], RunOptions(again=True))
        return time.perf_counter() - begun

    once: Callable[[], tuple[float, float]] = lambda: (timed(large), timed(empty))  # noqa: E731
    once()
    pairs = [once() for _ in range(rounds)]
    on_large, on_empty = (statistics.median(pair[at] for pair in pairs) for at in (0, 1))
    _row(
        name,
        "measure one photo, 8 bags",
        on_large,
        "",
        f"{on_large / on_empty:.2f} of {on_empty:.2f} s on an empty farm",
    )


@contextmanager
def _password(records: str) -> Iterator[None]:
    """Pass the password of a server to the commands that are run."""
    from sqlalchemy import make_url

    from benchmarks.scale.watched import ENVIRONMENT
    from farm.store import PASSWORD_VARIABLE

    if not records:
        yield
        return
    import os

    password = str(make_url(records).password)
    os.environ[PASSWORD_VARIABLE] = ENVIRONMENT[PASSWORD_VARIABLE] = password
    yield
    del os.environ[PASSWORD_VARIABLE], ENVIRONMENT[PASSWORD_VARIABLE]


if __name__ == "__main__":
    main()
