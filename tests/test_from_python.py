"""The examples of use from Python run, and their results are right for the vessels of the demo farm."""

import csv
import runpy
from datetime import datetime
from pathlib import Path

import pytest

SAMPLES = Path(__file__).parents[1] / "sample_images"


def test_the_example_runs_and_its_results_agree_with_the_truth(capsys: pytest.CaptureFixture[str]) -> None:
    names = runpy.run_path(str(SAMPLES / "from_python.py"))
    with (SAMPLES / "truth.csv").open(newline="") as file:
        truth = [float(row["percent"]) for row in csv.DictReader(file) if row["vessel"] == "J001"]
    assert len(names["days"]) == len(truth) == 6
    assert names["days"] == sorted(names["days"])
    assert names["percent"] == pytest.approx(truth, abs=10)
    with (SAMPLES / "truth_days.csv").open(newline="") as file:
        (through,) = [row["through"] for row in csv.DictReader(file) if row["vessel"] == "J001"]
    true_day = (datetime.fromisoformat(through) - datetime(2026, 3, 1, 9)).total_seconds() / 86_400
    jar, by_eye = names["told"]
    assert jar.through_median == pytest.approx(true_day, abs=2)
    assert by_eye.through_low < by_eye.through_median < by_eye.through_high
    said = capsys.readouterr().out
    assert "J001: 6" in said
    assert f"colonised through on day {jar.through_median:.1f}" in said


def test_the_python_of_the_readme_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    readme = (SAMPLES.parent / "README.md").read_text("utf-8")
    code = readme.split("## From Python\n")[1].split("\n## ")[0]
    lines = [line[4:] for line in code.splitlines() if line.startswith("    ") or not line]
    (tmp_path / "jar.jpg").write_bytes(sorted((SAMPLES / "photos" / "jars").glob("*.jpg"))[2].read_bytes())
    monkeypatch.chdir(tmp_path)
    (tmp_path / "readme.py").write_text("\n".join(lines))
    runpy.run_path(str(tmp_path / "readme.py"))
    said = capsys.readouterr().out.splitlines()
    assert sorted(line.split()[0] for line in said[:-1]) == ["J001", "J002"]
    assert float(said[-1]) > 10
