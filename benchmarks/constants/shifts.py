"""Shifting one number in a copy of the tree and running the tests that execute it."""

import json
import math
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from typing import Literal as Choice

from benchmarks.constants.literals import Literal, find_literals, with_shift
from benchmarks.constants.recorder import OUTPUT, PACKAGE
from benchmarks.constants.users import lines_using

ROOT = Path(__file__).parents[2]
#: Tests of each package.
TESTS: dict[str, tuple[str, ...]] = {
    "growth": ("tests/growth", "tests/outside"),
    "farm": ("tests/farm", "tests/outside"),
    "vision": ("tests/vision", "tests/outside"),
}
_LIMIT_SECONDS = 60.0  # added to three times the recorded duration of the tests
_NO_FAILURE, _SOME_FAILED = 0, 1
Outcome = Choice["noticed", "survived", "not run", "timed out"]


@dataclass(frozen=True)
class Shifted:
    """One number shifted: the file, the number, the outcome, and the tests that were run. left_out: tests that execute
    the number and were not run, since they take too long.
    """

    file: str
    literal: Literal
    outcome: Outcome
    tests: int
    left_out: int = 0


@dataclass(frozen=True)
class Record:
    """Which tests run each line of a package. lines: tests by file and line; seconds: by test. failed: tests that
    fail before anything is shifted; they are not used.
    """

    lines: Mapping[str, Mapping[str, Sequence[str]]]
    fixtures: Mapping[str, Sequence[str]]
    seconds: Mapping[str, float]
    failed: Sequence[str] = ()

    def tests_of(self, lines: set[tuple[str, int]]) -> list[str]:
        """Tests that run any of the lines, quick ones first."""
        contexts = {one for file, line in lines for one in self.lines.get(file, {}).get(str(line), ())}
        shared = {one.removeprefix("fixture ") for one in contexts if one.startswith("fixture ")}
        tests = {one for one in contexts if not one.startswith("fixture ")}
        tests |= {test for test, names in self.fixtures.items() if shared & set(names)}
        return sorted(tests - set(self.failed), key=lambda test: self.seconds.get(test, 0.0))

    def quickest(self, tests: Sequence[str], seconds: float) -> list[str]:
        """The first of ``tests``, sorted by duration, that together take at most ``seconds``; one at the least."""
        ends = accumulate(self.seconds.get(test, 0.0) for test in tests)
        return [test for n, (test, end) in enumerate(zip(tests, ends, strict=True)) if n == 0 or end <= seconds]


def copy_tree(target: Path) -> Path:
    """The files that git tracks, or would, as they are now, in ``target``."""
    listed = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    names = subprocess.run(listed, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    for name in filter(None, names.split("\0")):
        if (ROOT / name).is_file():
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, target / name)
    return target


def record(package: str, tree: Path) -> Record:
    """Run the package's tests once and record which test runs what; raises RuntimeError if they cannot be run."""
    output = tree / "constants.json"
    environment = _environment() | {PACKAGE: package, OUTPUT: str(output)}
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "--continue-on-collection-errors",
        "-p",
        "benchmarks.constants.recorder",
        *TESTS[package],
    ]
    run = subprocess.run(command, cwd=tree, env=environment, capture_output=True, text=True)
    if run.returncode not in (_NO_FAILURE, _SOME_FAILED) or not output.is_file():
        raise RuntimeError(f"the tests do not run:\n{run.stdout[-3000:]}{run.stderr[-3000:]}")
    return Record(**json.loads(output.read_text("utf-8")))


def package_sources(package: str, tree: Path) -> dict[str, str]:
    """Text by file of a package, files as paths from the tree."""
    return {str(one.relative_to(tree)): one.read_text("utf-8") for one in sorted((tree / package).rglob("*.py"))}


def all_literals(sources: Mapping[str, str]) -> list[tuple[str, Literal]]:
    """Every number worth shifting, with its file."""
    return [(file, literal) for file, text in sources.items() for literal in find_literals(text)]


def try_shift(
    file: str,
    literal: Literal,
    tree: Path,
    sources: Mapping[str, str],
    seen: Record,
    seconds: float = math.inf,
) -> Shifted:
    """Shift one number in ``tree``, run the tests that execute it, and put the file back.

    seconds: only the quickest of the tests are run, those that together take at most this long.
    """
    every = seen.tests_of(lines_using(file, literal, sources))
    if not every:
        return Shifted(file, literal, "not run", 0)
    tests = seen.quickest(every, seconds)
    limit = _LIMIT_SECONDS + 3.0 * sum(seen.seconds.get(test, 0.0) for test in tests)
    (tree / file).write_text(with_shift(sources[file], literal), "utf-8")
    try:
        return Shifted(file, literal, _outcome(tests, tree, limit), len(tests), len(every) - len(tests))
    finally:
        (tree / file).write_text(sources[file], "utf-8")


def _outcome(tests: Sequence[str], tree: Path, limit: float) -> Outcome:
    chosen = tree / "chosen_tests.txt"
    chosen.write_text("\n".join(tests), "utf-8")
    command = [sys.executable, "-B", "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", f"@{chosen}"]
    try:
        run = subprocess.run(command, cwd=tree, env=_environment(), capture_output=True, timeout=limit)
    except subprocess.TimeoutExpired:
        return "timed out"
    return "survived" if run.returncode == _NO_FAILURE else "noticed"


def _environment() -> dict[str, str]:
    return {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
