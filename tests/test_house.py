"""The house: who may import whom, and that a built wheel works outside the checkout."""

import ast
from pathlib import Path

import pytest

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
