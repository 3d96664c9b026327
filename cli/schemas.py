"""JSON schemas of what each command prints, made of its record types.

    python -m cli.schemas docs/schemas

writes a file for each list, NAME.json. A test holds the files in docs/schemas/ to these types.
"""

import json
import sys
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from cli.agree import MeasureRecord, PairRecord
from cli.compare import ComparedRecord
from cli.curve import CurveRecord
from cli.forecast import ForecastRecord
from cli.losses import LossRecord
from cli.plan import PlanRecord, TargetRecord
from cli.printed_kin import KinRecord
from cli.printed_lists import ReportRecord, ReviewRecord, TodayRecord
from cli.printed_vessels import ReadingRecord, VesselRecord
from cli.species import FactRecord, SpeciesRecord
from cli.trace import RateRecord
from cli.yields import YieldRecord
from farm.study import Finding
from farm.upkeep import Damage
from growth.forecast import LearnedPace

#: Name of the file: the command as it is given, and the type of what it prints.
OUTPUTS: dict[str, tuple[str, Any]] = {
    "agree": ("spawnrun agree EYE.csv --format json", list[MeasureRecord]),
    "agree-pairs": ("spawnrun agree EYE.csv --pairs --format json", list[PairRecord]),
    "calibrate": ("spawnrun calibrate PHOTO --format json", list[Finding]),
    "check": ("spawnrun check --format json", list[Damage]),
    "compare": ("spawnrun compare --format json", list[ComparedRecord]),
    "curve": ("spawnrun curve VESSEL --format json", list[CurveRecord]),
    "curve-pace": ("spawnrun curve --pace --format json", list[LearnedPace]),
    "forecast": ("spawnrun forecast READINGS.csv --format json", list[ForecastRecord]),
    "losses": ("spawnrun losses --format json", list[LossRecord]),
    "measure": ("spawnrun measure PATHS --format json", list[ReadingRecord]),
    "plan": ("spawnrun plan --format json", list[PlanRecord]),
    "plan-target": ("spawnrun plan --target GOAL --format json", list[TargetRecord]),
    "ready": ("spawnrun ready --format json", list[TodayRecord]),
    "report": ("spawnrun report --json", ReportRecord),
    "review-list": ("spawnrun review list --format json", list[ReviewRecord]),
    "species": ("spawnrun species --format json", list[SpeciesRecord]),
    "species-one": ("spawnrun species SPECIES --format json", list[FactRecord]),
    "trace": ("spawnrun trace VESSEL --format json", list[KinRecord]),
    "trace-rates": ("spawnrun trace VESSEL --rates --format json", list[RateRecord]),
    "vessel-list": ("spawnrun vessel list --format json", list[VesselRecord]),
    "vessel-show": ("spawnrun vessel show VESSEL --format json", list[ReadingRecord]),
    "yields": ("spawnrun yields --format json", list[YieldRecord]),
}


def schema_of(name: str) -> dict[str, Any]:
    """The JSON schema (draft 2020-12) of an output; no key is missing in it and none is added."""
    command, kind = OUTPUTS[name]
    schema = TypeAdapter(kind).json_schema(mode="serialization")
    for one in [schema, *schema.get("$defs", {}).values()]:
        if one.get("type") == "object" and "properties" in one:
            one["additionalProperties"] = False
            one["required"] = list(one["properties"])
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": f"`{command}`", **schema}


def schema_text(name: str) -> str:
    """The file of an output's schema."""
    return json.dumps(schema_of(name), indent=1, ensure_ascii=False) + "\n"


def write_schemas(folder: Path) -> None:
    """Write the schema of each output, and remove those of outputs that are no more."""
    folder.mkdir(parents=True, exist_ok=True)
    for known in folder.glob("*.json"):
        known.unlink()
    for name in OUTPUTS:
        (folder / f"{name}.json").write_text(schema_text(name), "utf-8")


if __name__ == "__main__":
    write_schemas(Path(sys.argv[1]))
