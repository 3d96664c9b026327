"""The benchmark of days: which photo is half way, what is known until then, and what the truth in its place gives."""

import csv
import json
from pathlib import Path

import pytest

from benchmarks.accuracy.scenes import Case, Result
from benchmarks.days.__main__ import told_of_scene, truly_read
from vision.records import MeasuredVessel, Reading

HOURS = (24, 96, 168, 240, 312, 384)
TRUE = (0.0, 12.0, 33.0, 52.0, 70.0, 88.0)


def scene(folder: Path, **vessel: object) -> Path:
    known = {"id": "V1", "kind": "bag", "inoculated_hours": 0.0, "t99_hours_since_inoculation": 480.0, "events": [],
             "contamination": []} | vessel  # fmt: skip
    (folder / "truth.json").write_text(json.dumps({"vessels": [known]}), "utf-8")
    with (folder / "vessels.csv").open("w", newline="", encoding="utf-8") as table:
        rows = csv.writer(table)
        rows.writerows([["id", "kind", "species", "substrate"], ["V1", "bag", "oyster", "sawdust"]])
    return folder


def results(off: float) -> list[Result]:
    """Readings that are ``off`` points too high."""
    found = []
    for hours, true in zip(HOURS, TRUE, strict=True):
        said = min(100.0, true + off)
        reading = Reading("V1", "bag", "ok", "", percent=said, percent_low=max(0, said - 4), percent_high=said + 4)
        case = Case("S", Path("x.jpg"), "V1", "bag", hours, true, Path("m.png"), Path("v.png"), 1)
        found.append(Result(case, None, MeasuredVessel(reading)))
    return found


def test_a_vessel_is_forecast_from_the_photos_up_to_half_way(tmp_path):
    (told,) = told_of_scene(scene(tmp_path), results(0.0))
    assert told.readings == 4  # the photo of 52 % is the last
    assert told.true == 20.0
    assert told.low < float(told.told or 0) < told.high
    assert 10 < float(told.told or 0) < 40


def test_the_truth_in_place_of_readings_gives_what_readings_without_error_give(tmp_path):
    folder = scene(tmp_path)
    (high,), (known,) = told_of_scene(folder, results(15.0)), told_of_scene(folder, truly_read(results(15.0)))
    (same,) = told_of_scene(folder, truly_read(results(0.0)))
    assert known == same
    assert float(high.told or 0) < float(known.told or 0), "what reads too high is told too early"


@pytest.mark.parametrize(
    "vessel", [{"contamination": [{"cls": "green"}]}, {"t99_hours_since_inoculation": None}, {"id": "V2"}]
)
def test_contaminated_vessels_and_those_never_through_do_not_count(tmp_path, vessel):
    assert list(told_of_scene(scene(tmp_path, **vessel), results(0.0))) == []
