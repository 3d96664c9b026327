"""The architecture: allowed imports, correct documents for developers, and a working wheel."""

import ast
import importlib.util
import os
import re
import shutil
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

from calibration import KINDS

ROOT = Path(__file__).parents[1]
#: The table of DEVELOPERS.md: package -> packages of ours that it may import.
MAY_IMPORT = {
    "calibration": set(),
    "vision": {"calibration"},
    "growth": {"calibration"},
    "farm": {"vision", "growth", "calibration"},
    "report": {"farm", "growth", "calibration"},
    "phone": {"report", "farm", "growth", "calibration"},
    "cli": {"phone", "report", "farm", "vision", "growth", "calibration", "sample_images"},
}


#: Files at the top of the repository.
AT_THE_TOP = {
    ".gitignore",
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE",
    "Makefile",
    "README.md",
    "pyproject.toml",
    "requirements-dev-lock.txt",
    "requirements-lock.txt",
}
#: The rooms of each large folder, lower ones first: room -> rooms of its folder that it may import.
ROOMS = {
    "farm": {
        "process": set(),
        "store": set(),
        "workers": {"process", "store"},
        "records": {"store"},
        "fruiting": {"store", "records"},
        "measure": {"store", "workers", "records"},
        "outlook": {"store", "records", "measure"},
        "review": {"store", "records", "fruiting", "outlook"},
        "lists": {"store", "records", "fruiting", "outlook", "review"},
        "plan": {"store", "records", "fruiting", "outlook"},
        "study": {"store", "records", "fruiting", "outlook"},
        "pictures": {"store", "workers", "records", "measure", "review"},
        "upkeep": {"store", "records", "measure"},
    },
    "growth": {
        "laws": set(),
        "data": {"laws"},
        "fit": {"laws", "data"},
        "forecast": {"laws", "data", "fit"},
    },
    "vision": {
        "records": set(),
        "pixels": set(),
        "label": {"records", "pixels"},
        "face": {"records", "pixels", "label"},
        "surface": {"records", "pixels", "face"},
        "photo": {"records", "pixels", "label", "face", "surface"},
        "days": {"records", "pixels", "face", "surface"},
        "camera": {"pixels", "label"},
    },
}
#: Modules that may be imported from outside their room besides its `__init__`: types and tables used everywhere.
SHARED = {"farm.store.errors", "farm.store.schema", "farm.records.models", "vision.records", "vision.flags"}


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


def room_of(module: str) -> str:
    """The room of a module of a large folder (`farm.store`), the package of any other (`report`)."""
    package, *inside = module.split(".")
    return f"{package}.{inside[0]}" if package in ROOMS and inside else package


def module_of(source: Path) -> str:
    return ".".join(source.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_names_are_imported_from_the_init_of_a_room_or_package(package: str) -> None:
    """`from vision.label import find_labels`, never `from vision.label.labels import find_labels` from another room."""
    side_doors = {
        f"{source.relative_to(ROOT)}: {name}"
        for source in (ROOT / package).rglob("*.py")
        for name in imported_modules(source)
        if name.split(".")[0] in MAY_IMPORT
        and room_of(name) != room_of(module_of(source))
        and name not in SHARED
        and name != room_of(name)
    }
    assert side_doors == set()


@pytest.mark.parametrize("package", ROOMS)
def test_arrows_between_rooms_run_downwards_only(package: str) -> None:
    """The table has exactly the arrows that are used, and a room imports no later room."""
    found: dict[str, set[str]] = {room: set() for room in ROOMS[package]}
    for source in (ROOT / package).rglob("*.py"):
        room = module_of(source).split(".")[1:2]
        for name in imported_modules(source):
            if room and name.startswith(f"{package}.") and room_of(name) != f"{package}.{room[0]}":
                found.setdefault(room[0], set()).add(name.split(".")[1])
    assert found.pop("flags", set()) == set()
    assert found == ROOMS[package]
    order = list(ROOMS[package])
    assert all(order.index(lower) < order.index(room) for room, lowers in found.items() for lower in lowers)


@pytest.mark.parametrize(
    "package", [*MAY_IMPORT, *(f"{package}.{room}" for package in ROOMS for room in ROOMS[package])]
)
def test_each_package_and_room_says_what_belongs_there(package: str) -> None:
    folder = ROOT.joinpath(*package.split("."))
    if not folder.is_dir():
        pytest.skip("a module, not a room")
    door = ast.parse((folder / "__init__.py").read_text("utf-8"))
    docstring = ast.get_docstring(door)
    assert docstring
    assert "\n" not in docstring.strip()
    names = any(isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__" for node in door.body)
    assert names is (package not in ROOMS)


def test_developers_guide_prints_the_same_table() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for package, allowed in MAY_IMPORT.items():
        row = next(line for line in guide.splitlines() if line.startswith(f"| `{package}` |"))
        named = {name for name in [*MAY_IMPORT, "sample_images"] if f"`{name}`" in row.split("|")[2]}
        assert named == (allowed if package != "cli" else named), row


def documents() -> list[Path]:
    """The documents for users and developers."""
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


def test_every_name_in_the_documents_exists() -> None:
    """Functions as `farm.measure.vision_functions.measure_one`, files as `farm/measure/vision_functions.py`."""
    text = "\n".join(one.read_text("utf-8") for one in documents())
    dotted = set(re.findall(rf"`((?:{'|'.join(MAY_IMPORT)})(?:\.\w+)+)`", text)) - {"farm.toml", "report.html"}
    assert len(dotted) > 25
    for name in dotted:
        *modules, last = name.split(".")
        found = importlib.import_module(modules[0])
        for part in modules[1:]:
            found = getattr(found, part, None) or importlib.import_module(f"{found.__name__}.{part}")
        assert hasattr(found, last) or importlib.util.find_spec(name), name
    paths = set(re.findall(r"`([\w.]+/[\w./]+)`", text))
    not_ours = {"faces/", "review/", "photos/_from_phones", "B001/BACK"}  # folders of a farm, and an id on a label
    ours = {name for name in paths if not name.startswith(".venv/")}  # made by `make install`
    assert {name for name in ours if not (ROOT / name).exists()} - not_ours == set()


def test_links_between_documents_resolve() -> None:
    """Each relative link leads to a file, and each anchor to a heading; each file in docs/ is linked from somewhere."""
    linked = set()
    for document in documents():
        for link in re.findall(r"\]\(([^)\s]+)\)", document.read_text("utf-8")):
            if re.match(r"https?://", link):
                continue
            name, _, anchor = link.partition("#")
            target = (document.parent / name).resolve() if name else document
            assert target.exists(), f"{document.name}: {link}"
            linked.add(target)
            if anchor:
                assert anchor in anchors_of(target), f"{document.name}: {link}"
    assert {one for one in documents() if one.parent.name == "docs"} - linked == set()


def anchors_of(document: Path) -> set[str]:
    """Anchors of a document's headings: lower case, without punctuation, spaces as hyphens."""
    headings = re.findall(r"^#+ (.+)$", document.read_text("utf-8"), re.M)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def test_developers_guide_is_short() -> None:
    assert (ROOT / "DEVELOPERS.md").stat().st_size <= 8192


@pytest.mark.parametrize("package", ROOMS)
def test_developers_guide_prints_the_rooms(package: str) -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for room, allowed in ROOMS[package].items():
        row = next(line for line in guide.splitlines() if line.startswith(f"| `{package}.{room}` |"))
        assert set(re.findall(r"`(\w+)`", row.split("|")[-2])) == allowed, row


def test_all_facts_of_a_kind_are_in_one_table() -> None:
    """Code names a kind only for the drawings of a guide or the start of a plan, so a new kind needs only its table."""
    named = {
        (source.relative_to(ROOT).as_posix(), node.value)
        for package in MAY_IMPORT
        for source in (ROOT / package).rglob("*.py")
        for node in ast.walk(ast.parse(source.read_text("utf-8")))
        if isinstance(node, ast.Constant) and node.value in KINDS
    }
    assert {name for name, _ in named} <= {"farm/plan/back_scheduling.py", "report/guide.py"}
    guide = (ROOT / "docs" / "guide-photos.md").read_text("utf-8")
    assert f"`kind` ({', '.join(KINDS)})" in " ".join(guide.split())


@pytest.mark.slow
def test_a_new_kind_needs_only_its_table(tmp_path: Path) -> None:
    """An invented kind is imported, forecast, planned and offered by the command line."""
    for package in MAY_IMPORT:
        shutil.copytree(ROOT / package, tmp_path / package)
    shutil.copytree(ROOT / "sample_images", tmp_path / "sample_images")
    kinds = tmp_path / "calibration" / "kinds.toml"
    tray = (
        kinds.read_text("utf-8").split("[bucket]")[1].split("\n\n")[0].replace("contents_kg = 6.0", "contents_kg = 4.5")
    )
    kinds.write_text(kinds.read_text("utf-8") + f"\n[tray]{tray}\n", "utf-8")
    steps = [
        ["init", "a"],
        ["vessel", "add", "T1", "--farm", "a", "--kind", "tray", "--species", "oyster", "--inoculated", "2026-03-02"],
        ["ready", "--farm", "a", "--format", "json"],
        ["plan", "--farm", "a", "--format", "json"],
    ]
    for step in steps:
        run = subprocess.run(
            [sys.executable, "-c", "from cli import main; main()", *step], capture_output=True, text=True, cwd=tmp_path
        )
        assert run.returncode == 0, run.stderr
    assert "tray = 4.5" in (tmp_path / "a" / "farm.toml").read_text("utf-8")


def test_the_measured_figures_of_the_readme_are_in_the_results() -> None:
    """The pictures of the README exist, too."""
    readme, results = ((ROOT / name).read_text("utf-8") for name in ("README.md", "benchmarks/RESULTS.md"))
    table = readme.split("## How well it does")[1].split("|---|---|")[1].split("\n\n")[0]
    figures = re.findall(r"\d+ of (?:all )?\d+|\d+\.\d\d+", table.replace("(0.80 is meant)", ""))
    assert len(figures) > 10
    assert [one for one in figures if one not in results] == []
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", readme)
    assert len(pictures) == 2
    assert all((ROOT / one).is_file() for one in pictures)


def test_hosted_ci_runs_the_lines_of_the_readme() -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    ci = (ROOT / ".github" / "workflows" / "ci.yml").read_text("utf-8").replace("${{ matrix.bin }}", ".venv/bin/")
    lines = [
        line.strip() for line in readme.split("## Install")[1].split("\n## ")[0].splitlines() if line[:4] == "    "
    ]
    assert len(lines) == 4
    assert [line for line in lines if f"- run: {line}\n" not in ci] == []


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The built wheel. A warning of Python or of the build tools is a failure."""
    home = tmp_path_factory.mktemp("wheel")
    # Built from a source archive, so that no leftover of a build folder in the checkout gets into the wheel.
    build = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(home), str(ROOT)]
    environment = {**os.environ, "PYTHONWARNINGS": "error", "PYTHONDONTWRITEBYTECODE": ""}
    run = subprocess.run(build, capture_output=True, text=True, cwd=home, env=environment, timeout=300)
    assert run.returncode == 0, run.stderr
    assert re.findall(r".*\bwarning\b.*", run.stdout + run.stderr, re.I) == []
    (wheel,) = home.glob("spawnrun-*.whl")
    return wheel


def test_only_known_files_stand_at_the_top_of_the_repository() -> None:
    """A tool run there may leave a file, which is then committed with the rest."""
    if not (ROOT / ".git").exists():
        pytest.skip("not a checkout")
    listed = subprocess.run(["git", "ls-files", "-z"], check=True, capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert {name for name in listed.stdout.split("\0") if name and "/" not in name} <= AT_THE_TOP


@pytest.mark.slow
def test_the_wheel_holds_the_tracked_files_of_the_packages_once(wheel: Path) -> None:
    """No stray file of the folder, nothing left out, and each of the demo's photos once."""
    if not (ROOT / ".git").exists():
        pytest.skip("not a checkout")
    listed = ["git", "ls-files", "-z", *MAY_IMPORT, "sample_images"]
    found = subprocess.run(listed, check=True, capture_output=True, text=True, cwd=ROOT, timeout=60)
    with zipfile.ZipFile(wheel) as archive:
        names = [name for name in archive.namelist() if ".dist-info/" not in name]
        sums = [archive.getinfo(name).CRC for name in names if name.endswith(".jpg")]
    assert sorted(names) == sorted(found.stdout.split("\0")[:-1])
    assert len(sums) == len(set(sums)) == len(list((ROOT / "sample_images" / "photos").rglob("*.jpg")))


@pytest.mark.parametrize("package", [*MAY_IMPORT, "sample_images"])
def test_each_package_has_a_marker_for_its_types(package: str) -> None:
    """The marker file of PEP 561."""
    assert (ROOT / package / "py.typed").is_file()


@pytest.fixture(scope="session")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The command, installed from a built wheel in a fresh environment outside the checkout."""
    home = tmp_path_factory.mktemp("installed")
    # The pip of the tests and no compiled modules: both halve the time.
    venv.create(home / "env", with_pip=False)
    binaries = home / "env" / ("Scripts" if os.name == "nt" else "bin")
    lock = ROOT / "requirements-lock.txt"
    for what in (["--only-binary", ":all:", "--require-hashes", "--requirement", str(lock)], ["--no-deps", str(wheel)]):
        pip = [sys.executable, "-m", "pip", "--python", str(binaries / "python")]
        install = [*pip, "install", "--no-compile", "--quiet", *what]
        subprocess.run(install, check=True, capture_output=True, cwd=home, timeout=600)
    return binaries / "spawnrun"


@pytest.mark.slow
def test_a_wheel_installed_elsewhere_runs_the_demo(installed: Path, tmp_path: Path) -> None:
    compiling = {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}
    command = [str(installed), "demo", "try"]
    run = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, env=compiling, timeout=300)
    assert run.returncode == 0, run.stderr
    assert run.stderr == ""
    assert "mean error over 50 readings" in run.stdout
    assert "Look at these first" in run.stdout
    assert (tmp_path / "try" / "report.html").stat().st_size > 100_000
    assert str(ROOT) not in run.stdout


def test_help_loads_nothing_heavy() -> None:
    """Image and fitting libraries are loaded by the commands that use them, not by `spawnrun --help`."""
    heavy = {"cv2", "scipy", "skimage", "matplotlib", "PIL", "numpy", "vision", "growth", "starlette", "uvicorn"}
    probe = f"import sys, cli; print(sorted({heavy!r} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert (run.stdout, run.stderr) == ("[]\n", "")


def test_a_list_whose_forecasts_are_kept_loads_nothing_heavy(tmp_path: Path) -> None:
    """No numpy, and nothing that measures: the first list fits, the ones after it only read."""
    heavy = {"cv2", "scipy", "skimage", "matplotlib", "PIL", "numpy", "vision", "growth.fit", "farm.measure"}
    (tmp_path / "vessels.csv").write_text("vessel,kind,inoculated\nB001,bag,2026-03-01\n")
    probe = (
        "import sys, cli\n"
        "for words in sys.argv[1:]:\n"
        "    assert cli.run(words.split()) == 0\n"
        f"print(sorted({heavy!r} & set(sys.modules)))"
    )

    def loaded_by(*lines: str) -> str:
        command = [sys.executable, "-c", probe, *lines]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        run = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, env=environment, timeout=120)
        assert run.returncode == 0, run.stderr
        return run.stdout.splitlines()[-1]

    assert "numpy" in loaded_by("init farm", "vessel import vessels.csv --farm farm", "ready --farm farm")
    assert loaded_by("ready --farm farm") == "[]"
