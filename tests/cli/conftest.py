"""The command line, run in this process: what it prints, where, and its exit code."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from cli import run
from farm.measure import run as measure_run
from farm.measure import series
from tests.farm.painted import paint, painted_vision

VESSELS = """\
id,kind,species,substrate,inoculated,batch
B001,bag,oyster,rye grain,2026-03-01T08:00,FIRST
B002,bag,oyster,sawdust,2026-03-01T08:00,FIRST
J001,jar,oyster,rye grain,2026-03-02,SECOND
"""


@dataclass(frozen=True)
class Outcome:
    code: int
    out: str
    err: str


Spawnrun = Callable[..., Outcome]


@pytest.fixture(autouse=True)
def plain_output(monkeypatch: pytest.MonkeyPatch) -> None:
    """Remove the settings for colour that the environment of the tests may have; the commands under test are piped."""
    monkeypatch.delenv("FORCE_COLOR", raising=False)


@pytest.fixture
def spawnrun(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Spawnrun:
    """Run a command line in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SPAWNRUN_FARM", raising=False)

    def call(*arguments: str) -> Outcome:
        capsys.readouterr()
        code = run(arguments)
        said = capsys.readouterr()
        return Outcome(code, said.out, said.err)

    return call


@pytest.fixture
def painted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Use painted photos, which encode the readings (see tests/farm/painted.py)."""
    monkeypatch.setattr(measure_run, "load_vision", painted_vision)
    monkeypatch.setattr(series, "load_vision", painted_vision)
    monkeypatch.setattr("cli.measure.all_cores", lambda: 1)


@pytest.fixture
def vessels(tmp_path: Path) -> Path:
    source = tmp_path / "vessels.csv"
    source.write_text(VESSELS)
    return source


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    """A week of photos: B001 is colonised through, B002 gets a growing green patch, J001 does not grow yet."""
    folder = tmp_path / "photos"
    days = (
        (3, 2, 3, 0, 0),
        (6, 30, 20, 0, 1),
        (8, 62, 35, 1, 1),
        (10, 88, 45, 4, 2),
        (12, 99, 50, 9, 2),
        (14, 100, 52, 14, 2),
    )
    for day, first, second, green, jar in days:
        name = folder / f"202603{day:02}_1000.png"
        paint(name, ("B001", first), ("B002", second, green) if green else ("B002", second), ("J001", jar))
    return folder


@pytest.fixture
def week(spawnrun: Spawnrun, painted: None, vessels: Path, photos: Path, tmp_path: Path) -> Path:
    """A farm with that week measured; its present time is the evening of the last photo."""
    home = tmp_path / "home"
    assert spawnrun("init", str(home)).code == 0
    settings = home / "farm.toml"
    settings.write_text(settings.read_text().replace('as_of = ""', 'as_of = "2026-03-14T20:00"'))
    assert spawnrun("vessel", "import", str(vessels), "--farm", str(home)).code == 0
    assert spawnrun("measure", str(photos), "--farm", str(home)).code == 0
    return home
