"""Print processor time of lists and reports of another checkout of this program and of this one, in turns in one run.

python -m benchmarks.scale.turns OTHER                        # all parts; OTHER: folder of the other checkout
python -m benchmarks.scale.turns OTHER ready photo --rounds 5

Parts: few (`ready` on 300 vessels with 3,000 readings), ready (on 5,000 with 500,000), photo (the same, each time after
one more photo of 8 vessels), report (of 500 vessels with 20 readings and kept faces each).
"""

import argparse
from collections.abc import Callable, Sequence
from datetime import timedelta
from functools import partial
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from benchmarks.scale.big_farm import NOW, add_photo, make_big_farm
from benchmarks.scale.kept_faces import keep_faces
from benchmarks.scale.watched import spawnrun
from benchmarks.speed.start import seconds_to_run
from farm.store import open_farm

HERE = Path(__file__).parents[2]
#: Vessels, and readings of each.
SIZES = {"few": (300, 10), "ready": (5000, 100), "photo": (5000, 100), "report": (500, 20)}


def main() -> None:
    """Run from the command line."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("other", type=Path)
    asked.add_argument("parts", nargs="*", help=f"{', '.join(SIZES)}; none: all")
    asked.add_argument("--rounds", type=int, default=5)
    arguments = asked.parse_args()
    print("| part | core-seconds of the other: least, median | of this one | `import numpy` |\n|---|---|---|---|")
    with TemporaryDirectory(prefix="spawnrun-turns-") as home:
        for part in arguments.parts or SIZES:
            farms = {arguments.other.resolve(): _farm(Path(home), "other", part), HERE: _farm(Path(home), "this", part)}
            times = _in_turns(farms, part, arguments.rounds)
            row = " | ".join(f"{min(some):.2f}, {median(some):.2f}" for some in times)
            print(f"| {part} | {row} |", flush=True)


def _farm(home: Path, whose: str, part: str) -> Path:
    """A farm for a checkout alone, made once for each size: what one version keeps, another makes anew."""
    vessels, readings = SIZES[part]
    folder = home / f"{whose}-{vessels}"
    if folder.exists():
        return folder
    with make_big_farm(folder, vessels, readings) as farm:
        if part == "report":
            keep_faces(farm)
    return folder


def _in_turns(farms: dict[Path, Path], part: str, rounds: int) -> Sequence[list[float]]:
    """Core-seconds of each round: of each checkout on its farm, and of `import numpy` last."""
    command = "report" if part == "report" else "ready"
    runs: list[Callable[[], float]] = [partial(_core_seconds, command, *one) for one in farms.items()]
    for run in runs:
        run()  # the first fits all and keeps it
    times: list[list[float]] = [[] for _ in (*runs, "numpy")]
    for number in range(rounds):
        if part == "photo":
            for folder in farms.values():
                with open_farm(folder) as farm:
                    add_photo(farm, 5 * number, NOW - timedelta(hours=1))  # of another batch each time
        for some, run in zip(times, [*runs, lambda: seconds_to_run("import numpy")], strict=True):
            some.append(run())
    return times


def _core_seconds(command: str, checkout: Path, folder: Path) -> float:
    return spawnrun(command, "--farm", folder, checkout=checkout).core_seconds


if __name__ == "__main__":
    main()
