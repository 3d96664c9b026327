"""`spawnrun calibrate`: its output, and when a profile is stored."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Spawnrun
from tests.vision.camera_shot import MIXED, chart, save, sheet, shot


def test_a_sheet_of_labels_is_checked_without_a_farm(spawnrun: Spawnrun, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("vision.camera.inspection.find_chart", lambda _: None)  # takes seconds; the photo has none
    save(shot(sheet(4, ["A", "B", "C", "D", "E", "F"]), darker_left=0.6), Path("sheet.jpg"))
    outcome = spawnrun("calibrate", "sheet.jpg", "--format", "json")
    assert outcome.code == 0
    records = {one["check"]: one for one in json.loads(outcome.out)}
    assert list(records) == ["labels", "scale", "sharpness", "smallest label", "exposure", "even light", "tone"]
    assert all(list(one) == ["check", "value", "unit", "fine", "says"] for one in records.values())
    assert not records["even light"]["fine"]
    assert "put a 24-patch colour chart into the picture" in outcome.err
    table = spawnrun("calibrate", "sheet.jpg").out
    assert "change  move the lamp: the left third is" in table
    assert "6 read" in table


def test_a_profile_is_stored_if_it_helps_and_removed_when_it_no_longer_does(spawnrun: Spawnrun) -> None:
    save(shot(chart(60), mixed=MIXED, exposure=0.8), Path("mixed.jpg"))
    save(shot(chart(60), exposure=0.8), Path("plain.jpg"))
    spawnrun("init", "home")
    assert "no profile of Maker Model 1 kept: no farm here" in spawnrun("calibrate", "mixed.jpg").err
    outcome = spawnrun("calibrate", "mixed.jpg", "--farm", "home")
    assert "mean CIEDE2000 4.4" in outcome.out
    assert "`measure` uses it from now on" in outcome.err
    assert json.loads(Path("home/cameras.json").read_text())[0]["camera"] == "Maker Model 1"
    assert spawnrun("calibrate", "plain.jpg", "--farm", "home", "--no-keep").err == ""
    assert "the earlier one is forgotten" in spawnrun("calibrate", "plain.jpg", "--farm", "home").err
    assert json.loads(Path("home/cameras.json").read_text()) == []
    assert "measured as they are" in spawnrun("calibrate", "plain.jpg", "--farm", "home").err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [(("none.jpg",), "none.jpg: not a file"), (("none.jpg", "--farm", "x"), "there is no folder x"), ((), "PHOTO")],
)
def test_bad_input_is_reported(spawnrun: Spawnrun, arguments: tuple[str, ...], said: str) -> None:
    outcome = spawnrun("calibrate", *arguments)
    assert outcome.code == 2
    assert said in outcome.err
