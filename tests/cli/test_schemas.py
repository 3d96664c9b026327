"""The schemas in docs/schemas/ match the record types, and the output of each command is valid by its schema."""

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from cli.schemas import OUTPUTS, schema_text, write_schemas
from farm.fruiting import record_harvest
from farm.records import chosen_vessels
from farm.store import open_farm
from tests.cli.conftest import Spawnrun
from tests.vision.camera_shot import chart, save, shot

SCHEMAS = Path(__file__).parents[2] / "docs" / "schemas"
AGAIN = "python -m cli.schemas docs/schemas"

#: The command line of each output on the farm of a week; see ``inputs``.
COMMANDS = {
    "agree": ("agree", "eye.csv"),
    "agree-pairs": ("agree", "eye.csv", "--pairs"),
    "calibrate": ("calibrate", "chart.jpg", "--no-keep"),
    "check": ("check",),
    "compare": ("compare", "--by", "batch"),
    "curve": ("curve", "B002"),
    "curve-pace": ("curve", "--pace"),
    "forecast": ("forecast", "readings.csv"),
    "losses": ("losses", "--by", "batch"),
    "measure": ("measure", "photos"),
    "plan": ("plan", "--days", "60"),
    "plan-target": ("plan", "--target", "4 oyster blocks by 2027-12-12"),
    "ready": ("ready",),
    "report": ("report", "--out", "report.html"),
    "review-list": ("review", "list", "--all"),
    "species": ("species",),
    "species-one": ("species", "oyster"),
    "trace": ("trace", "B002"),
    "trace-rates": ("trace", "B002", "--rates"),
    "vessel-list": ("vessel", "list", "--all"),
    "vessel-show": ("vessel", "show", "B002"),
    "yields": ("yields",),
}


@pytest.mark.parametrize("name", OUTPUTS)
def test_a_schema_file_matches_its_type(name: str) -> None:
    assert (SCHEMAS / f"{name}.json").read_text("utf-8") == schema_text(name), f"write it again: {AGAIN}"


def test_every_output_has_a_schema_and_a_command_in_this_test(tmp_path: Path) -> None:
    write_schemas(tmp_path)
    assert {path.name for path in SCHEMAS.iterdir()} == {path.name for path in tmp_path.iterdir()}, AGAIN
    assert sorted(COMMANDS) == sorted(OUTPUTS)


@pytest.fixture
def inputs(week: Path) -> Path:
    """A farm of a week with a source, events and a missing face; and the tables and the photo that commands take."""
    here = week.parent
    (here / "eye.csv").write_text("vessel,percent,taken_at\nB001,60,2026-03-08T10:00\nB002,40,2026-03-10T10:00\n")
    rows = [f"J,jar,2026-03-01,2026-03-{day:02},{percent}" for day, percent in ((3, 1), (6, 20), (9, 55))]
    (here / "readings.csv").write_text("\n".join(["vessel,kind,inoculated,taken_at,percent", *rows]))
    save(shot(chart(60)), here / "chart.jpg")
    with open_farm(week) as farm:
        record_harvest(farm, chosen_vessels(farm, ["B002"]), 0.4, farm.now)
    return week


@pytest.mark.usefixtures("inputs")
@pytest.mark.parametrize("name", OUTPUTS)
def test_the_output_of_a_command_is_valid(spawnrun: Spawnrun, name: str) -> None:
    farm = () if name == "forecast" else ("--farm", "home")
    outcome = spawnrun(*COMMANDS[name], *(("--json",) if name == "report" else ("--format", "json")), *farm)
    assert outcome.code in (0, 3), outcome.err
    printed = json.loads(outcome.out)
    assert printed or name == "check"
    schema = json.loads((SCHEMAS / f"{name}.json").read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(printed)
