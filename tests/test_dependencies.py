"""Licences of all dependencies are permissive and documented in docs/dependencies.md; reports of pip-audit."""

import importlib.util
import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import ModuleType

import pytest
from packaging.requirements import Requirement

from tests.values import known

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]


def script(name: str) -> ModuleType:
    """A script of .ci, which is not a package."""
    spec = known(importlib.util.spec_from_file_location(f"ci_{name}", ROOT / ".ci" / f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    known(spec.loader).exec_module(module)
    return module


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def documented_licences() -> dict[str, str]:
    """Licence by library, from the table in docs/dependencies.md."""
    rows = re.findall(
        r"^\| ([^|]+) \|[^|]*\| ([^|]+) \|[^|]*\|$", (ROOT / "docs" / "dependencies.md").read_text("utf-8"), re.M
    )
    return {
        plain(name.strip()): licence for names, licence in rows for name in re.sub(r"\([^)]*\)", "", names).split(",")
    }


def test_all_installed_dependencies_are_permissive() -> None:
    licences = script("licences")
    found = licences.licences()
    assert len(found) > 20
    assert {name: licence for name, licence in found.items() if not licences.is_permissive(licence)} == {}


def test_every_dependency_is_documented_with_its_licence() -> None:
    licences = script("licences").licences()
    table = documented_licences()
    for requirement in PROJECT["dependencies"]:
        name = plain(Requirement(requirement).name)
        assert name in table, f"{name} is not in the table of docs/dependencies.md"
        family = re.split(r"[- ]", licences[name])[0]
        assert family in table[name], f"{name}: {licences[name]} is not {table[name]}"


def locked(name: str) -> dict[str, str]:
    """Version of each package in a lock, by name; each must have hashes."""
    entries = re.sub(r"^#.*\n", "", (ROOT / name).read_text("utf-8"), flags=re.M).replace("\\\n", " ").splitlines()
    assert all("--hash=sha256:" in one for one in entries)
    pins = (known(re.match(r"(.+?)==(\S+)", one)).groups() for one in entries)
    return {plain(name): version for name, version in pins}


def test_the_locks_pin_everything_that_is_installed() -> None:
    """One lock for the program; one with the same versions and the packages for tests and checks."""
    program, dev = locked("requirements-lock.txt"), locked("requirements-dev-lock.txt")
    assert {plain(Requirement(one).name) for one in PROJECT["dependencies"]} <= program.keys()
    assert {plain(Requirement(one).name) for one in PROJECT["optional-dependencies"]["dev"]} <= dev.keys()
    assert program.items() <= dev.items()


@pytest.mark.parametrize("name", ["requirements-lock.txt", "requirements-dev-lock.txt"])
def test_a_lock_names_no_host(name: str) -> None:
    assert "://" not in (ROOT / name).read_text("utf-8")


@pytest.mark.parametrize(
    ("licence", "is_permissive"),
    [("MIT", True), ("BSD-3-Clause AND 0BSD AND MIT", True), ("Apache-2.0 OR GPL-2.0-only", True), ("", False),
     ("GPL-3.0-only", False), ("MIT AND LGPL-3.0-only", False), ("Apache-2.0 OR BSD-2-Clause", True)],
)  # fmt: skip
def test_an_expression_is_permissive_if_all_its_parts_are(licence: str, is_permissive: bool) -> None:
    """SPDX licence expressions, annex D of ISO/IEC 5962."""
    assert script("licences").is_permissive(licence) is is_permissive


def report(folder: Path, *packages: Mapping[str, object]) -> Path:
    (folder / "report.json").write_text(json.dumps({"dependencies": packages}))
    return folder / "report.json"


def test_a_vulnerability_with_a_fixed_version_fails_and_one_without_is_reported(tmp_path: Path) -> None:
    audit = script("audit")
    whole = {"name": "a", "version": "1", "vulns": []}
    mended = {"name": "b", "version": "1", "vulns": [{"id": "PYSEC-1", "fix_versions": ["2"]}]}
    open_one = {"name": "c", "version": "1", "vulns": [{"id": "PYSEC-2", "fix_versions": []}]}
    assert audit.verdict(report(tmp_path, whole)) == (True, ["1 packages checked, 0 known vulnerabilities"])
    assert audit.verdict(report(tmp_path, whole, mended))[0] is False
    may_pass, lines = audit.verdict(report(tmp_path, whole, open_one))
    assert may_pass
    assert lines[0] == "c 1: PYSEC-2, no version mends it yet"


def test_an_index_that_does_not_answer_is_reported(tmp_path: Path) -> None:
    audit = script("audit")
    assert "NOT CHECKED" in audit.verdict(tmp_path / "none.json")[1][0]
    may_pass, lines = audit.verdict(report(tmp_path, {"name": "a", "skip_reason": "not found"}))
    assert may_pass
    assert lines[0].startswith("warning: NOT CHECKED: 1 of 1 packages")
