"""`spawnrun plan`: what the table says is what the JSON says, and cautions stand with it."""

import json
from pathlib import Path

from tests.cli.conftest import Spawnrun


def test_the_plan_as_table_and_as_data(spawnrun: Spawnrun, week: Path) -> None:
    said = spawnrun("plan", "--farm", "home", "--days", "40")
    assert said.code == 0
    lines = json.loads(spawnrun("plan", "--farm", "home", "--days", "40", "--format", "json").out)
    assert {line["part"] for line in lines} >= {"ready", "prepare"}
    rows = [row for row in said.out.splitlines() if "oyster" in row]
    assert len(rows) == len([line for line in lines if line["species"]])
    for row, line in zip(rows, lines, strict=False):
        assert f"  {line['median']:g}  " in row
    assert "Never leave a vessel under pressure unattended" in said.out
    assert "Not counted, because they need a look first: B002" in said.out


def test_a_goal_as_table_and_as_data(spawnrun: Spawnrun, week: Path) -> None:
    goal = ("plan", "--farm", "home", "--target", "40 oyster blocks by 2026-04-12")
    head, *steps = json.loads(spawnrun(*goal, "--format", "json").out)
    assert (head["part"], head["can_be_met"]) == ("goal", False)
    said = spawnrun(*goal).out
    assert "CANNOT be met" in said
    assert all(f"{step['vessels']} {step['kind']}" in said for step in steps)
    assert spawnrun(*goal, "--format", "csv").out.count("\r\n") == len(steps) + 2
    wrong = spawnrun("plan", "--farm", "home", "--target", "some blocks")
    assert wrong.code == 2
    assert "say it as" in wrong.err
