"""`spawnrun agree`: the same figures in every format."""

import json
from pathlib import Path

from tests.cli.conftest import Spawnrun

EYE = """\
vessel,percent,photo
B001,35,20260306_1000.png
B001,60,20260308_1000.png
B002,30,20260308_1000.png
J001,5,20260308_1000.png
J009,5,20260308_1000.png
"""


def test_figures_largest_differences_and_rows_left_out_are_shown(spawnrun: Spawnrun, week: Path) -> None:
    Path("eye.csv").write_text(EYE)
    outcome = spawnrun("agree", "eye.csv", "--worst", "2", "--farm", "home")
    assert outcome.code == 0
    assert "line 6 left out: J009 has no reading" in outcome.err
    assert "4 estimates are of 3 vessels" in outcome.err
    below = outcome.out.split("Those that differ most\n")[1].splitlines()
    assert [line.split()[0] for line in below[1:]] == ["B001", "B002"]
    told = json.loads(spawnrun("agree", "eye.csv", "--format", "json", "--farm", "home").out)
    records = {one["measure"]: one for one in told}
    assert list(records) == ["pairs", "bias", "mean_difference", "limit_low", "limit_high", "concordance"]
    # 30 - 35, 62 - 60, 35 - 30, 1 - 5
    assert (records["pairs"]["value"], records["bias"]["value"], records["mean_difference"]["value"]) == (4, -0.5, 4.0)
    assert (
        records["limit_low"]["value"]
        < records["bias"]["low"]
        < records["bias"]["high"]
        < records["limit_high"]["value"]
    )
    assert "concordance" not in outcome.out
    asked = spawnrun("agree", "eye.csv", "--why", "--farm", "home").out
    assert f"{records['concordance']['value']:.3f}" in asked


def test_all_pairs_are_listed(spawnrun: Spawnrun, week: Path) -> None:
    Path("eye.csv").write_text(EYE)
    pairs = json.loads(spawnrun("agree", "eye.csv", "--pairs", "--format", "json", "--farm", "home").out)
    assert [one["difference"] for one in pairs] == [-5, 5, -4, 2]
    assert list(pairs[0]) == [
        "vessel", "photo", "taken_at", "by_eye", "percent", "percent_low", "percent_high", "difference", "flags",
    ]  # fmt: skip


def test_nothing_to_compare_is_reported(spawnrun: Spawnrun, week: Path) -> None:
    Path("eye.csv").write_text("vessel,percent,photo\nB001,3,none.png\n")
    outcome = spawnrun("agree", "eye.csv", "--farm", "home")
    assert outcome.out == "  no estimate has a reading\n"
    assert "line 2 left out: B001 has no reading of none.png" in outcome.err
