"""`spawnrun check --mend`: a picture that is stored twice is removed once and reported."""

from pathlib import Path

import pytest

from tests.cli.conftest import Spawnrun
from tests.farm.painted import paint


@pytest.mark.usefixtures("painted")
def test_a_picture_that_is_stored_twice_is_removed_once(spawnrun: Spawnrun, vessels: Path, tmp_path: Path) -> None:
    spawnrun("init", "home")
    spawnrun("vessel", "import", "vessels.csv", "--farm", "home")
    photo = paint(tmp_path / "shelf" / "20260305_1000.png", ("B001", 30))
    content = photo.read_bytes()
    photo.write_bytes(content + b"more")
    spawnrun("measure", "shelf", "--farm", "home")
    photo.write_bytes(content)
    spawnrun("measure", "shelf", "--farm", "home")
    found = spawnrun("check", "--farm", "home")
    assert found.code == 3
    assert "kept twice" in found.out
    mended = spawnrun("check", "--mend", "--farm", "home")
    assert "20260305_1000.png: was kept twice; taken out once (B001)" in mended.err
    spawnrun("ready", "--farm", "home")  # which reads the series again
    assert spawnrun("check", "--farm", "home").code == 0
