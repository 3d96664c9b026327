"""The house: who may import whom, that its guide tells what there is, and that a built wheel works outside."""

import ast
import importlib
import os
import re
import subprocess
import sys
import venv
from pathlib import Path
from typing import get_args

import pytest

from calibration import KINDS, expansion, generic_pace, vessel_kinds
from cli.options import KindName
from farm.settings import PlanSettings
from farm.stock import CULTURE, FRUITING, SPAWN

ROOT = Path(__file__).parents[1]
#: The table of DEVELOPERS.md: package -> packages of ours that it may import.
MAY_IMPORT = {
    "calibration": set(),
    "vision": {"calibration"},
    "growth": {"calibration"},
    "farm": {"vision", "growth", "calibration"},
    "report": {"farm", "growth", "calibration"},
    "cli": {"report", "farm", "vision", "growth", "calibration", "sample_images"},
}


def imported_modules(source: Path) -> set[str]:
    """Dotted names of every import in a file, also those inside functions."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(source.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{source}: imports are absolute"
            names.add(node.module or "")
    return names


def ours(names: set[str]) -> set[str]:
    return {name.split(".")[0] for name in names} & (MAY_IMPORT.keys() | {"sample_images", "tests", "benchmarks"})


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_imports_run_downwards_only(package: str) -> None:
    allowed = MAY_IMPORT[package] | {package}
    strays = {
        str(source.relative_to(ROOT)): stray
        for source in (ROOT / package).rglob("*.py")
        if (stray := ours(imported_modules(source)) - allowed)
    }
    assert strays == {}


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_other_packages_are_entered_by_their_door(package: str) -> None:
    """Another package is imported as `from vision import x`, never as `from vision.labels import x`."""
    side_doors = {
        f"{source.relative_to(ROOT)}: {name}"
        for source in (ROOT / package).rglob("*.py")
        for name in imported_modules(source)
        if "." in name and name.split(".")[0] in MAY_IMPORT and name.split(".")[0] != package
    }
    assert side_doors == set()


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_each_package_says_what_it_is_for_and_what_is_public(package: str) -> None:
    door = ast.parse((ROOT / package / "__init__.py").read_text("utf-8"))
    docstring = ast.get_docstring(door)
    assert docstring
    assert "\n" not in docstring.strip()
    assert any(isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__" for node in door.body)


def test_developers_guide_prints_the_same_table() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for package, allowed in MAY_IMPORT.items():
        row = next(line for line in guide.splitlines() if line.startswith(f"| `{package}` |"))
        named = {name for name in [*MAY_IMPORT, "sample_images"] if f"`{name}`" in row.split("|")[2]}
        assert named == (allowed if package != "cli" else named), row


def test_every_name_in_the_guide_is_there() -> None:
    """Functions as `farm.eyes.look_at`, files as `farm/eyes.py`."""
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    dotted = set(re.findall(rf"`((?:{'|'.join(MAY_IMPORT)})(?:\.\w+)+)`", guide)) - {"farm.toml", "report.html"}
    assert len(dotted) > 25
    for name in dotted:
        *modules, last = name.split(".")
        found = importlib.import_module(modules[0])
        for part in modules[1:]:
            found = getattr(found, part, None) or importlib.import_module(f"{found.__name__}.{part}")
        assert hasattr(found, last), name
    paths = set(re.findall(r"`([\w.]+/[\w./]+)`", guide))
    strays = {name for name in paths if not (ROOT / name).exists()} - {"faces/", "review/"}
    assert strays == set()


@pytest.mark.parametrize("package", ["farm", "growth", "vision"])
def test_every_module_of_a_large_folder_has_its_place_in_the_map(package: str) -> None:
    inside = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("### Inside the large folders")[1].split("\n## ")[0]
    table = inside.split(f"| `{package}/` |")[1].split("\n\n")[0]
    named = re.findall(r"`(\w+)`", table)
    assert sorted(named) == sorted(path.stem for path in (ROOT / package).glob("[!_]*.py"))


def test_a_kind_is_known_wherever_kinds_are_told_apart() -> None:
    """What DEVELOPERS.md says of adding one."""
    assert list(vessel_kinds()) == list(KINDS) == [one.value for one in KindName]
    assert all(generic_pace(kind).through_days > 0 for kind in KINDS)
    assert sorted((*CULTURE, *SPAWN, *FRUITING)) == sorted(KINDS)
    named = get_args(get_args(PlanSettings.model_fields["contents_kg"].annotation)[0])
    assert sorted(expansion().contents_kg) == sorted((*SPAWN, *FRUITING)) == sorted(named)
    readme = (ROOT / "README.md").read_text("utf-8")
    assert f"`kind` ({', '.join(KINDS)})" in " ".join(readme.split())


def test_the_measured_figures_of_the_readme_are_those_of_the_results() -> None:
    """And its pictures are there."""
    readme, results = ((ROOT / name).read_text("utf-8") for name in ("README.md", "benchmarks/RESULTS.md"))
    table = readme.split("## How well it does")[1].split("|---|---|")[1].split("\n\n")[0]
    figures = re.findall(r"\d+ of (?:all )?\d+|\d+\.\d\d+", table.replace("(0.80 is meant)", ""))
    assert len(figures) > 10
    assert [one for one in figures if one not in results] == []
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", readme)
    assert len(pictures) == 2
    assert all((ROOT / one).is_file() for one in pictures)


@pytest.fixture(scope="session")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The command, installed from a built wheel in a fresh environment outside the checkout."""
    home = tmp_path_factory.mktemp("wheel")
    # By way of a source archive, so that nothing left in a build folder of the checkout gets into the wheel.
    build = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(home), str(ROOT)]
    subprocess.run(build, check=True, capture_output=True, cwd=home)
    (wheel,) = home.glob("spawnrun-*.whl")
    venv.create(home / "env", with_pip=True)
    binaries = home / "env" / ("Scripts" if os.name == "nt" else "bin")
    lock = ROOT / "requirements-lock.txt"
    install = [binaries / "python", "-m", "pip", "install", "--quiet", "--constraint", lock, wheel]
    subprocess.run(install, check=True, capture_output=True, cwd=home)
    return binaries / "spawnrun"


def test_a_wheel_installed_elsewhere_runs_the_demo(installed: Path, tmp_path: Path) -> None:
    run = subprocess.run([installed, "demo", "try"], capture_output=True, text=True, cwd=tmp_path)
    assert run.returncode == 0, run.stderr
    assert run.stderr == ""
    assert "mean error over 50 readings" in run.stdout
    assert "Look at these first" in run.stdout
    assert (tmp_path / "try" / "report.html").stat().st_size > 100_000
    assert str(ROOT) not in run.stdout


def test_help_loads_nothing_heavy() -> None:
    """Image and fitting libraries are loaded by the commands that use them, not by `spawnrun --help`."""
    heavy = {"cv2", "scipy", "skimage", "matplotlib", "PIL", "numpy", "vision", "growth"}
    probe = f"import sys, cli; print(sorted({heavy!r} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, cwd=ROOT)
    assert (run.stdout, run.stderr) == ("[]\n", "")
