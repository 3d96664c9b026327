"""A release: two builds give the same bytes, and the bill of materials is valid CycloneDX and complete."""

import hashlib
import importlib.util
import json
import os
import re
import subprocess
import sys
import warnings
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from tests.values import known

ROOT = Path(__file__).parents[1]
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not (ROOT / ".git").exists(), reason="not a checkout"),
]


def release(out: Path, umask: int) -> subprocess.CompletedProcess[str]:
    command: list[str | Path] = [sys.executable, ROOT / ".ci" / "release.py", out]
    before = os.umask(umask)
    try:
        return subprocess.run(command, capture_output=True, text=True, timeout=300)
    finally:
        os.umask(before)


@pytest.fixture(scope="module")
def released(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("release") / "out"
    run = release(out, 0o022)
    assert run.returncode == 0, run.stderr
    return out


@pytest.fixture(scope="module")
def bill(released: Path) -> dict[str, Any]:
    (path,) = released.glob("*.cdx.json")
    made: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return made


def test_another_builder_gets_the_same_files(released: Path, tmp_path: Path) -> None:
    run = release(tmp_path / "out", 0o077)
    assert run.returncode == 0, run.stderr
    names = sorted(one.name for one in released.iterdir())
    assert [name.split("-")[0] for name in names] == ["SHA256SUMS", "spawnrun", "spawnrun"]
    assert [(tmp_path / "out" / name).read_bytes() for name in names] == [
        (released / name).read_bytes() for name in names
    ]


def test_the_sums_are_those_of_the_files(released: Path) -> None:
    lines = (released / "SHA256SUMS").read_text("utf-8").splitlines()
    assert len(lines) == 2
    for line in lines:
        told, name = line.split("  ")
        assert hashlib.sha256((released / name).read_bytes()).hexdigest() == told


def test_builds_that_differ_are_an_error(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    made = script("release")

    def wheel(home: Path) -> Path:
        home.mkdir()
        path = home / "spawnrun-0-py3-none-any.whl"
        path.write_text(home.name)
        return path

    monkeypatch.setattr(made, "_wheel", wheel)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "0")
    before = os.umask(0)
    try:
        assert made.main(tmp_path / "out") == 1
    finally:
        os.umask(before)
    assert not (tmp_path / "out").exists()


def test_the_bill_is_valid_by_the_published_schema(released: Path) -> None:
    """The schema of ECMA-424 that cyclonedx-python-lib brings; unknown fields are errors."""
    from cyclonedx.schema import SchemaVersion
    from cyclonedx.validation.json import JsonStrictValidator

    (path,) = released.glob("*.cdx.json")
    validator = JsonStrictValidator(SchemaVersion.V1_6)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        assert validator.validate_str(path.read_text("utf-8")) is None
        assert validator.validate_str(path.read_text("utf-8").replace('"library"', '"no such type"')) is not None


def test_the_bill_names_every_locked_library_with_the_sums_of_the_lock(bill: dict[str, Any]) -> None:
    lock = (ROOT / "requirements-lock.txt").read_text("utf-8")
    pinned = re.findall(r"^([\w.-]+)==(\S+)", lock, re.M)
    assert len(pinned) > 30
    assert sorted((one["name"], one["version"]) for one in bill["components"]) == sorted(pinned)
    sums = [
        found["content"]
        for one in bill["components"]
        for reference in one["externalReferences"]
        for found in reference["hashes"]
    ]
    assert sorted(sums) == sorted(re.findall(r"--hash=sha256:(\w+)", lock))


def test_the_bill_gives_licences_the_wheel_and_who_needs_whom(released: Path, bill: dict[str, Any]) -> None:
    (wheel,) = released.glob("*.whl")
    root = bill["metadata"]["component"]
    assert root["hashes"][0]["content"] == hashlib.sha256(wheel.read_bytes()).hexdigest()
    here = [one for one in bill["components"] if "properties" not in one]
    assert [one["name"] for one in here if not one.get("licenses")] == []
    needs = {one["ref"]: one.get("dependsOn", []) for one in bill["dependencies"]}
    found, waiting = set(), [root["bom-ref"]]
    while waiting:
        found.add(one := waiting.pop())
        waiting += [needed for needed in needs[one] if needed not in found]
    assert {one["bom-ref"] for one in here} <= found


def script(name: str) -> ModuleType:
    spec = known(importlib.util.spec_from_file_location(f"ci_{name}", ROOT / ".ci" / f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    known(spec.loader).exec_module(module)
    return module
