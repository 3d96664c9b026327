"""Records with known truth from a folder: readings.csv, events.csv, truth.csv, all times ISO 8601."""

import csv
from collections import defaultdict
from datetime import datetime
from pathlib import Path

from benchmarks.forecast.simulate import Truth
from growth.data import Series


def read_records(folder: Path) -> list[tuple[Series, Truth]]:
    """All vessels that have readings, with their truth; days count from inoculation."""
    readings: dict[str, list[dict[str, str]]] = defaultdict(list)
    for row in _rows(folder / "readings.csv"):
        readings[row["vessel"]].append(row)
    shakes: dict[str, list[str]] = defaultdict(list)
    if (folder / "events.csv").exists():
        for row in _rows(folder / "events.csv"):
            if row["event"] == "shaken":
                shakes[row["vessel"]].append(row["at"])
    vessels = []
    for row in _rows(folder / "truth.csv"):
        mine = readings.get(row["vessel"], [])
        if mine:
            vessels.append((_series(row, mine, shakes[row["vessel"]]), _truth(row)))
    return vessels


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _series(truth: dict[str, str], readings: list[dict[str, str]], shakes: list[str]) -> Series:
    start, first = truth["inoculated"], readings[0]
    return Series(
        vessel=truth["vessel"],
        kind=first["kind"],
        species=first["species"],
        substrate=first["substrate"],
        batch=first["batch"],
        days=tuple(_days(start, r["taken_at"]) for r in readings),
        percent=tuple(float(r["percent"]) for r in readings),
        low=tuple(_number(r.get("percent_low")) for r in readings),
        high=tuple(_number(r.get("percent_high")) for r in readings),
        shaken_days=tuple(_days(start, at) for at in shakes),
    )


def _truth(row: dict[str, str]) -> Truth:
    return Truth(
        through_day=_days(row["inoculated"], row["ready_at"]) if row["ready_at"] else None,
        percent_at_cut=float(row["true_percent_at_cut"]),
        cut_day=float(row["cut_day"]),
        stalled_day=None,
        finished=row["history"] == "1",
        shaken=bool(row["shaken_day"]),
    )


def _days(start: str, at: str) -> float:
    return (datetime.fromisoformat(at) - datetime.fromisoformat(start)).total_seconds() / 86400.0


def _number(text: str | None) -> float | None:
    return float(text) if text else None
