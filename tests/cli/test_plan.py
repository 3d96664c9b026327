"""`spawnrun plan`: table and JSON agree, and cautions are shown with them."""

import json
from pathlib import Path

from tests.cli.conftest import Spawnrun
from tests.farm.painted import paint


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
    assert "no photo of them was read yet" not in said.out
    spawnrun("vessel", "add", "J005..J006", "--kind", "jar", "--inoculated", "2025-12-01", "--farm", "home")
    added = spawnrun("plan", "--farm", "home", "--days", "40")
    assert "Not counted, because no photo of them was read yet (2): J005, J006" in added.out
    assert [row for row in added.out.splitlines() if "oyster" in row] == rows
    assert "what they are for" not in added.out
    spawnrun("vessel", "add", "B9", "--kind", "bag", "--inoculated", "2026-03-01", "--farm", "home")
    for day, percent in ((4, 10), (6, 30), (8, 45)):
        paint(Path("more", f"202603{day:02}_1100.png"), ("B9", percent))
    spawnrun("measure", "more", "--farm", "home")
    assert "substrate does not tell what they are for: B9 (spawn)" in spawnrun("plan", "--farm", "home").out


def test_a_goal_as_table_and_as_data(spawnrun: Spawnrun, week: Path) -> None:
    goal = ("plan", "--farm", "home", "--target", "40 oyster blocks by 2026-04-12")
    head, *steps = json.loads(spawnrun(*goal, "--format", "json").out)
    assert (head["part"], head["can_be_met"]) == ("goal", False)
    said = spawnrun(*goal).out
    assert "CANNOT be met" in said
    assert all(f"{step['vessels']} {step['kind']}" in said for step in steps)
    assert spawnrun(*goal, "--format", "csv").out.count("\r\n") == len(steps) + 2
    bags = ("plan", "--farm", "home", "--target")
    fruiting = spawnrun(*bags, "20 oyster bags on sawdust by 2026-08-12").out
    assert fruiting.startswith("20 oyster bags on sawdust, ready to fruit by the end of Wed 12 Aug 2026\n")
    head, *_ = json.loads(spawnrun(*bags, "20 oyster bags for fruiting by 2026-08-12", "--format", "json").out)
    assert (head["used_for"], head["substrate"]) == ("fruiting", "sawdust"), "as B002"
    doubtful = spawnrun(*bags, "20 reishi bags by 2026-12-12").out
    assert "taken for spawn, as is usual for a bag: say 'on sawdust' or 'for fruiting' if not so" in doubtful
    numbers = spawnrun(*bags, "20 oyster bags for fruiting by 3/8/2026")
    assert numbers.code == 2
    assert "is it 3 August or 8 March" in numbers.err
    settings = Path("home/farm.toml")
    settings.write_text(settings.read_text("utf-8").replace('date_order = ""', 'date_order = "day first"'), "utf-8")
    assert "by the end of Mon 3 Aug 2026" in spawnrun(*bags, "20 oyster bags for fruiting by 3/8/2026").out
    mistyped = spawnrun("plan", "--farm", "home", "--species", "oister")
    assert mistyped.code == 2
    assert "species 'oister' is not known; did you mean oyster?" in mistyped.err
    wrong = spawnrun("plan", "--farm", "home", "--target", "some blocks")
    assert wrong.code == 2
    assert "say it as" in wrong.err
