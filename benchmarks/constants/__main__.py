"""Shift each numeric constant and formula coefficient by 5 %, one at a time, and list those that no test notices.

python -m benchmarks.constants growth
python -m benchmarks.constants farm --only "farm/review/*" --only "farm/store/*" --seconds 40 --keep shifted

Nothing is changed in place: each worker shifts numbers in a copy of the tree. The tests of the package are run once
with coverage.py, which tells what tests run the lines that use a number; only those are run again, quick ones first,
until one fails. ``survived``: all of them pass although the number is 5 % larger. ``not run``: no test of the package
runs a line that uses it. With ``--keep`` the recording and the outcomes stay in a folder: as long as no Python file of
the program or its tests changes, a later run reuses the recording and tries only the numbers that are left.
"""

import argparse
import math
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from fnmatch import fnmatch
from functools import partial
from pathlib import Path
from queue import SimpleQueue

from benchmarks.constants.kept import Kept
from benchmarks.constants.literals import Literal
from benchmarks.constants.shifts import (
    TESTS,
    Shifted,
    all_literals,
    copy_tree,
    package_sources,
    record,
    try_shift,
)

Numbered = tuple[str, Literal]


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a line for each number that no test notices, then the counts; 1 if there are any."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.constants", description=__doc__.split("\n")[0])
    parser.add_argument("package", choices=sorted(TESTS))
    parser.add_argument("--only", action="append", help="pattern of FILE or FILE:NAME, may be given again")
    parser.add_argument("--workers", type=int, default=1, help="copies shifted side by side")
    parser.add_argument(
        "--seconds", type=float, default=math.inf, help="at most this long per number, quick tests first"
    )
    parser.add_argument("--keep", type=Path, help="folder for the recording and the outcomes, to go on from later")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="spawnrun-constants-") as folder:
        tree = copy_tree(Path(folder) / "0")
        sources = package_sources(asked.package, tree)
        chosen = [one for one in all_literals(sources) if is_wanted(asked.only or ["*"], *one)]
        print(f"{len(chosen)} numbers of {asked.package}; recording who runs what", flush=True)
        kept = Kept(asked.keep, asked.package, tree)
        seen = kept.record(partial(record, asked.package, tree))
        if seen.failed:
            print(f"left out, since they fail before anything is shifted: {', '.join(seen.failed)}", flush=True)
        trees = [tree, *(copy_tree(Path(folder) / str(n)) for n in range(1, asked.workers))]
        outcomes = _try_all(chosen, trees, partial(try_shift, sources=sources, seen=seen, seconds=asked.seconds), kept)
    print(", ".join(f"{outcome}: {n}" for outcome, n in sorted(outcomes.items())))
    return 1 if outcomes["survived"] + outcomes["not run"] else 0


def _try_all(
    chosen: Sequence[Numbered], trees: Sequence[Path], try_shift: Callable[..., Shifted], kept: Kept
) -> Counter[str]:
    free: SimpleQueue[Path] = SimpleQueue()
    for tree in trees:
        free.put(tree)
    known = kept.outcomes()

    def try_one(one: Numbered) -> Shifted:
        if one in known:
            return known[one]
        tree = free.get()
        try:
            return try_shift(*one, tree)
        finally:
            free.put(tree)

    outcomes: Counter[str] = Counter()
    with ThreadPoolExecutor(len(trees)) as pool:
        for one, shifted in zip(chosen, pool.map(try_one, chosen), strict=True):
            outcomes[shifted.outcome] += 1
            if one not in known:
                kept.add(shifted)
            if shifted.outcome != "noticed":
                print(_row(shifted), flush=True)
    return outcomes


def is_wanted(patterns: Sequence[str], file: str, literal: Literal) -> bool:
    """Whether FILE or FILE:NAME matches any of the patterns."""
    return any(fnmatch(name, pattern) for name in (file, f"{file}:{literal.owner}") for pattern in patterns)


def _row(one: Shifted) -> str:
    of = one.literal
    where = f"{one.file}:{of.line}"
    tests = f"{one.tests} tests" + (f", {one.left_out} left out" if one.left_out else "")
    return f"{one.outcome:14} {where:46} {of.owner:32} {of.value:g} -> {of.shifted:g}   ({tests})"


if __name__ == "__main__":
    sys.exit(main())
