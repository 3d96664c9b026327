"""The command that shifts constants: which numbers it takes, which lines use them, and that it detects a weak test."""

from pathlib import Path

import pytest

from benchmarks.constants.__main__ import is_wanted
from benchmarks.constants.kept import Kept
from benchmarks.constants.literals import find_literals, with_shift
from benchmarks.constants.shifts import ROOT, Record, Shifted, copy_tree, try_shift
from benchmarks.constants.users import lines_using

pytestmark = pytest.mark.slow

SOURCE = '''"""A docstring with 7.5 in it."""

from dataclasses import dataclass

_LIMIT, _SPARE = 0.25, 40
_TABLE = {"a": (1.5, 0.75), "b": (0.0, 1.0)}
_DOUBLE = _LIMIT * 2.0


@dataclass(frozen=True)
class Setting:
    """A record."""

    share: float = 0.9


def above(values, least=12.0):
    """No 99.9 here."""
    if values[3] > 5:
        raise ValueError(f"more than {5:.3f}")
    return round(values[0] * 0.5, 4) + _DOUBLE


def unrelated(setting):
    return setting.share
'''


def test_only_numbers_with_a_meaning_are_found() -> None:
    found = [(one.owner, one.value) for one in find_literals(SOURCE)]
    assert found == [
        ("_LIMIT", 0.25), ("_SPARE", 40), ("_TABLE", 1.5), ("_TABLE", 0.75), ("_DOUBLE", 2.0), ("Setting.share", 0.9),
        ("above", 12.0), ("above", 5), ("above", 0.5),
    ]  # fmt: skip


def test_one_number_is_shifted_and_nothing_else() -> None:
    for literal in find_literals(SOURCE):
        changed = with_shift(SOURCE, literal).splitlines()
        different = [n for n, (a, b) in enumerate(zip(SOURCE.splitlines(), changed, strict=True), 1) if a != b]
        assert different == [literal.line]
        scope: dict[str, object] = {"__name__": "shifted"}
        exec(compile("\n".join(changed), "shifted", "exec"), scope)  # noqa: S102
        whole = isinstance(literal.value, int)
        assert literal.shifted == (
            literal.value + max(1, round(0.05 * literal.value)) if whole else literal.value * 1.05
        )


def test_users_of_a_number_are_followed_by_name_and_attribute() -> None:
    other = "from growth.a import _LIMIT as limit\n\n\ndef far(x):\n    return x > limit\n"
    sources = {"growth/a.py": SOURCE, "growth/b.py": other}
    of = {(one.owner, one.value): lines_using("growth/a.py", one, sources) for one in find_literals(SOURCE)}
    total = SOURCE.splitlines().index("    return round(values[0] * 0.5, 4) + _DOUBLE") + 1
    assert ("growth/a.py", total) in of["_LIMIT", 0.25]  # through _DOUBLE
    assert ("growth/b.py", 5) in of["_LIMIT", 0.25]
    assert of["_SPARE", 40] == set()
    assert of["Setting.share", 0.9] == {("growth/a.py", len(SOURCE.splitlines()))}
    assert ("growth/a.py", total) in of["above", 12.0]
    assert of["above", 5] == {("growth/a.py", SOURCE.splitlines().index("    if values[3] > 5:") + 1)}


WEAK = "from growth.rule import cost\n\n\ndef test_cost():\n    assert cost(2.0) > 0\n"
STRONG = "from growth.rule import cost\n\n\ndef test_cost():\n    assert abs(cost(2.0) - 3.0) < 1e-9\n"


@pytest.mark.parametrize(("test", "outcome"), [(WEAK, "survived"), (STRONG, "noticed")])
def test_a_weak_test_lets_a_number_survive(tmp_path: Path, test: str, outcome: str) -> None:
    source = "RATE = 1.5\n\n\ndef cost(n):\n    return RATE * n\n"
    (tmp_path / "growth").mkdir()
    (tmp_path / "growth" / "__init__.py").write_text("")
    (tmp_path / "growth" / "rule.py").write_text(source)
    (tmp_path / "test_rule.py").write_text(test)
    (tmp_path / "pytest.ini").write_text("[pytest]\npythonpath = .\naddopts = --import-mode=importlib\n")
    seen = Record({"growth/rule.py": {"5": ["test_rule.py::test_cost"]}}, {}, {"test_rule.py::test_cost": 0.1})
    (literal,) = find_literals(source)
    tried = try_shift("growth/rule.py", literal, tmp_path, {"growth/rule.py": source}, seen)
    assert (tried.outcome, tried.tests) == (outcome, 1)
    assert (tmp_path / "growth" / "rule.py").read_text() == source


def test_lines_run_by_a_shared_fixture_count_for_every_test_that_uses_it() -> None:
    fixtures = {"t.py::one": ["farm", "tmp_path"], "t.py::two": ["farm"], "t.py::three": []}
    seen = Record({"growth/a.py": {"3": ["fixture farm"]}}, fixtures, {"t.py::one": 2.0, "t.py::two": 1.0})
    assert seen.tests_of({("growth/a.py", 3)}) == ["t.py::two", "t.py::one"]


def test_the_copy_has_the_tracked_files(tmp_path: Path) -> None:
    tree = copy_tree(tmp_path / "tree")
    name = "growth/laws/formulas.py"
    assert (tree / name).read_bytes() == (ROOT / name).read_bytes()
    assert not (tree / ".venv").exists()


def test_a_number_is_chosen_by_any_of_several_patterns() -> None:
    (literal,) = find_literals("RATE = 1.5\n")
    for patterns, wanted in [
        (["*"], True), (["growth/*"], True), (["growth/rule.py:RATE"], True), (["farm/*", "*:RATE"], True),
        (["farm/*"], False), (["growth/rule.py:PACE", "vision/*"], False),
    ]:  # fmt: skip
        assert is_wanted(patterns, "growth/rule.py", literal) is wanted


def test_with_a_limit_only_the_quickest_tests_are_run() -> None:
    seen = Record({}, {}, {"a": 1.0, "b": 2.0, "c": 30.0})
    assert seen.quickest(["a", "b", "c"], 3.0) == ["a", "b"]
    assert seen.quickest(["c"], 3.0) == ["c"]
    assert seen.quickest(["a", "b", "c"], 33.0) == ["a", "b", "c"]


def test_recording_and_outcomes_are_kept_until_a_source_file_changes(tmp_path: Path) -> None:
    tree, folder = tmp_path / "tree", tmp_path / "kept"
    (tree / "growth").mkdir(parents=True)
    (tree / "growth" / "rule.py").write_text("RATE = 1.5\n")
    made = Record({"growth/rule.py": {"1": ["t.py::one"]}}, {"t.py::one": ["farm"]}, {"t.py::one": 0.5}, ["t.py::two"])
    (literal,) = find_literals("RATE = 1.5\n")
    shifted = Shifted("growth/rule.py", literal, "survived", 3, 1)
    first = Kept(folder, "growth", tree)
    assert first.record(lambda: made) == made
    assert first.outcomes() == {}
    first.add(shifted)

    again = Kept(folder, "growth", tree)
    assert again.record(lambda: pytest.fail("recorded again")) == made
    assert again.outcomes() == {("growth/rule.py", literal): shifted}

    (tree / "growth" / "rule.py").write_text("RATE = 1.6\n")
    assert Kept(folder, "growth", tree).outcomes() == {}
    assert Kept(None, "growth", tree).outcomes() == {}
