"""Shift each numeric constant and formula coefficient by 5 %, one at a time, and list those that no test notices.

python -m benchmarks.constants growth
python -m benchmarks.constants farm --only "farm/review/*" --workers 2

Nothing is changed in place: each worker shifts numbers in a copy of the tree. The tests of the package are run once
with coverage.py, which tells what tests run the lines that use a number; only those are run again. ``survived``: all
of them pass although the number is 5 % larger. ``not run``: no test of the package runs a line that uses it.
"""

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from fnmatch import fnmatch
from pathlib import Path
from queue import SimpleQueue

from benchmarks.constants.literals import Literal
from benchmarks.constants.shifts import (
    TESTS,
    Record,
    Shifted,
    all_literals,
    copy_tree,
    package_sources,
    record,
    try_shift,
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a line for each number that no test notices, then the counts; 1 if there are any."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.constants", description=__doc__.split("\n")[0])
    parser.add_argument("package", choices=sorted(TESTS))
    parser.add_argument("--only", default="*", help="pattern of FILE or FILE:NAME, as growth/fit/*:_ODDS")
    parser.add_argument("--workers", type=int, default=1, help="copies shifted side by side")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="spawnrun-constants-") as folder:
        tree = copy_tree(Path(folder) / "0")
        sources = package_sources(asked.package, tree)
        chosen = [one for one in all_literals(sources) if _wanted(asked.only, *one)]
        print(f"{len(chosen)} numbers of {asked.package}; recording who runs what", flush=True)
        seen = record(asked.package, tree)
        if seen.failed:
            print(f"left out, since they fail before anything is shifted: {', '.join(seen.failed)}", flush=True)
        trees = [tree, *(copy_tree(Path(folder) / str(n)) for n in range(1, asked.workers))]
        outcomes = _try_all(chosen, trees, sources, seen)
    print(", ".join(f"{outcome}: {n}" for outcome, n in sorted(outcomes.items())))
    return 1 if outcomes["survived"] + outcomes["not run"] else 0


def _try_all(
    chosen: Sequence[tuple[str, Literal]], trees: Sequence[Path], sources: Mapping[str, str], seen: Record
) -> Counter[str]:
    free: SimpleQueue[Path] = SimpleQueue()
    for tree in trees:
        free.put(tree)

    def try_one(one: tuple[str, Literal]) -> Shifted:
        tree = free.get()
        try:
            return try_shift(*one, tree, sources, seen)
        finally:
            free.put(tree)

    outcomes: Counter[str] = Counter()
    with ThreadPoolExecutor(len(trees)) as pool:
        for shifted in pool.map(try_one, chosen):
            outcomes[shifted.outcome] += 1
            if shifted.outcome != "noticed":
                print(_row(shifted), flush=True)
    return outcomes


def _wanted(pattern: str, file: str, literal: Literal) -> bool:
    return fnmatch(file, pattern) or fnmatch(f"{file}:{literal.owner}", pattern)


def _row(one: Shifted) -> str:
    of = one.literal
    where = f"{one.file}:{of.line}"
    return f"{one.outcome:14} {where:46} {of.owner:32} {of.value:g} -> {of.shifted:g}   ({one.tests} tests)"


if __name__ == "__main__":
    sys.exit(main())
