"""Change pictures and tables at random and print the outcomes: measured, refused with a reason, or a fault.

    python -m benchmarks.fuzz --files 6000 --seed 1 --keep BAD_FILES

Each picture goes through loading and measuring, as in a batch, in a supervised process; some hundreds of them also as a
folder to `spawnrun measure`. Tables go through the functions that the commands read them with. Exit code 1 where there
was a traceback, a hang of over 10 s or a crash; those files are kept in the folder given.
"""

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from benchmarks.fuzz.mutate import mutated
from benchmarks.fuzz.pictures import whole_pictures
from benchmarks.fuzz.tables import fuzz_tables
from benchmarks.fuzz.watchdog import Tally, run_watched, written

_IN_A_FOLDER = 400


def main() -> int:
    """Run and print; 1 if a file was neither read nor refused."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=6000, help="pictures in all")
    parser.add_argument("--tables", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="folder for the files that caused a fault")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as home:
        is_well = _pictures(chosen, Path(home))
        is_well &= _as_a_folder(chosen, Path(home) / "folder")
        is_well &= fuzz_tables(chosen.tables, chosen.seed, Path(home) / "tables")
    return 0 if is_well else 1


def changed_pictures(name: str, count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """File name and content of changed pictures of one kind."""
    pictures = whole_pictures()
    ending, content = pictures[name]
    chance = random.Random(f"{seed} {name}")
    others = [other for _, other in pictures.values()]
    for number in range(count):
        yield f"{name.replace(' ', '-')}-{number:05}.{ending}", mutated(content, chance, others)


def _pictures(chosen: argparse.Namespace, home: Path) -> bool:
    names = list(whole_pictures())
    print(f"{'kind':17} {'files':>6} {'measured':>8} {'refused':>8} {'faults':>6} {'slowest s':>9} {'most MB':>8}")
    is_well, reasons = True, Counter[str]()
    for at, name in enumerate(names):
        count = chosen.files // len(names) + (at < chosen.files % len(names))
        paths = written(home / str(at), changed_pictures(name, count, chosen.seed))
        tally = run_watched(paths, chosen.workers)
        _print(name, count, tally)
        for path, what in tally.bad:
            print(f"    {path.name}: {what}")
            if chosen.keep:
                chosen.keep.mkdir(parents=True, exist_ok=True)
                shutil.copy(path, chosen.keep)
        reasons += tally.reasons
        is_well &= not tally.bad
        shutil.rmtree(home / str(at))
    print("refused because: " + "; ".join(f"{why.strip()} ({count})" for why, count in reasons.most_common()))
    return is_well


def _print(name: str, count: int, tally: Tally) -> None:
    print(
        f"{name:17} {count:6} {tally.counts['measured']:8} {tally.counts['refused']:8} {len(tally.bad):6} "
        f"{tally.slowest_seconds:9.1f} {tally.most_mb:8.0f}",
        flush=True,
    )


def _as_a_folder(chosen: argparse.Namespace, home: Path) -> bool:
    """The same through the whole command: every file is in its output, no traceback, exit code 0 or 3."""
    names = list(whole_pictures())
    some = (one for name in names for one in changed_pictures(name, _IN_A_FOLDER // len(names), chosen.seed + 1))
    paths = list(written(home / "photos", some))
    command = [sys.executable, "-c", "import cli; cli.main()", "measure", str(home / "photos"), "--kind", "bag"]
    run = subprocess.run([*command, "--format", "csv"], capture_output=True, text=True, cwd=home, check=False)
    told = sum(path.name in run.stdout for path in paths)
    print(f"spawnrun measure on a folder of {len(paths)}: exit code {run.returncode}, {told} files in its list")
    is_well = run.returncode in (0, 3) and told == len(paths) and "Traceback" not in run.stderr
    if not is_well:
        print(run.stderr[-2000:])
    return is_well


if __name__ == "__main__":
    sys.exit(main())
