"""Print how well the day of "colonised through" is told at about half way, from the photos of scenes alone.

    python -m benchmarks.days SCENES...

SCENES is a folder of scenes, as for benchmarks.accuracy. Each scene is a farm without a past. A vessel counts if it
stays clean, becomes colonised through, and has at least ``LEAST_READINGS`` readings up to a photo that truly shows 35
to 65 %; that photo is the day of the forecast (the one nearest to 50 %, if there are several). Beside it: the same
forecasts from the true percents of the same photos, so that what the eye costs can be told from what nobody can know.
"""

import argparse
import csv
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.accuracy.scenes import Result, find_scenes, read_scene
from growth.data import ForecastSettings, Series
from growth.forecast import forecast
from vision.records import MeasuredVessel

#: True percents between which a photo counts as half way, and how many readings a vessel needs until then.
HALF_WAY, LEAST_READINGS = (35.0, 65.0), 2
#: Bounds that the true percents are given, points.
TRUE_BOUNDS = 2.0
#: An error is large from this many days on.
LARGE_DAYS = 3.0


@dataclass(frozen=True)
class Told:
    """One vessel's forecast at half way. Days since inoculation; low and high bound 80 %. told: None if none was."""

    scene: str
    vessel: str
    kind: str
    readings: int
    true: float
    told: float | None
    low: float
    high: float


def told_of_scene(scene: Path, results: Sequence[Result]) -> Iterator[Told]:
    """Forecasts of the vessels of one scene at half way, from its readings."""
    truth = json.loads((scene / "truth.json").read_text("utf-8"))
    with (scene / "vessels.csv").open(newline="", encoding="utf-8") as table:
        rows = {row["id"]: row for row in csv.DictReader(table)}
    known = {vessel["id"]: vessel for vessel in truth["vessels"]}
    for name, vessel in known.items():
        through = vessel.get("t99_hours_since_inoculation")
        at = _half_way([one for one in results if one.case.vessel == name])
        if through is None or vessel["contamination"] or at is None:
            continue
        farm = {row_name: _series(row, results, known.get(row_name, {}), at) for row_name, row in rows.items()}
        readings = len(farm[name].days)
        if readings < LEAST_READINGS:
            continue
        forecasts = forecast(list(farm.values()), settings=ForecastSettings(curve=False))
        said = next(one for one in forecasts if one.vessel == name)
        low, high = said.through_low, said.through_high
        bounds = (np.nan if low is None else low, np.inf if high is None else high)
        yield Told(scene.name, name, vessel["kind"], readings, through / 24, said.through_median, *bounds)


def _half_way(results: Sequence[Result]) -> float | None:
    """Hours at which the photo nearest to 50 % was taken; None if no photo that was read is near enough."""
    low, high = HALF_WAY
    near = [one.case for one in results if one.series is not None and low <= one.case.percent <= high]
    return min(near, key=lambda case: abs(case.percent - 50)).taken_hours if near else None


def _series(row: Mapping[str, str], results: Sequence[Result], known: Mapping[str, Any], until_hours: float) -> Series:
    """What the photos up to a moment say of one vessel; known: its truth, of which shakes are used, as if noted."""
    begun = float(known.get("inoculated_hours", 0.0))
    mine = [
        ((one.case.taken_hours - begun) / 24, one.series.reading)
        for one in results
        if one.case.vessel == row["id"]
        and one.series is not None
        and one.series.reading.percent is not None
        and one.case.taken_hours <= until_hours
    ]
    mine.sort(key=lambda pair: pair[0])
    return Series(
        vessel=row["id"],
        kind=row["kind"],
        species=row.get("species", ""),
        substrate=row.get("substrate", ""),
        batch="",
        days=tuple(day for day, _ in mine),
        percent=tuple(float(reading.percent or 0.0) for _, reading in mine),
        low=tuple(None if reading.percent_low is None else float(reading.percent_low) for _, reading in mine),
        high=tuple(None if reading.percent_high is None else float(reading.percent_high) for _, reading in mine),
        shaken_days=tuple(
            float(event["hours_since_inoculation"]) / 24
            for event in known.get("events", ())
            if event["type"] == "shaken" and begun + float(event["hours_since_inoculation"]) <= until_hours
        ),
        as_of_day=max(0.0, (until_hours - begun) / 24),
    )


def truly_read(results: Sequence[Result]) -> list[Result]:
    """The results with their photos' true percents in place of what was read."""
    return [replace(one, series=_with_truth(one)) for one in results]


def _with_truth(one: Result) -> MeasuredVessel | None:
    if one.series is None:
        return None
    true = one.case.percent
    low, high = max(0.0, true - TRUE_BOUNDS), min(100.0, true + TRUE_BOUNDS)
    return replace(one.series, reading=replace(one.series.reading, percent=true, percent_low=low, percent_high=high))


def line(name: str, told: Sequence[Told]) -> str:
    """A row of the table."""
    said = [one for one in told if one.told is not None]
    if not said:
        return f"{name:24}{0:>6} of {len(told):<5}"
    errors = np.abs([float(one.told or 0.0) - one.true for one in said])
    held = np.mean([one.low <= one.true <= one.high for one in said])
    return (
        f"{name:24}{len(said):>6} of {len(told):<5}{np.median(errors):>8.2f}{np.quantile(errors, 0.9):>8.2f}"
        f"{np.mean(errors <= LARGE_DAYS):>9.2f}{held:>7.2f}"
    )


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", type=Path, nargs="+", metavar="SCENES")
    told: list[Told] = []
    known: list[Told] = []
    for scene in (scene for folder in parser.parse_args().folders for scene in find_scenes(folder)):
        results = read_scene(scene)
        told += told_of_scene(scene, results)
        known += told_of_scene(scene, truly_read(results))
    print(f"{'':24}{'told':>15}{'median':>8}{'90 %':>8}{'<= 3 d':>9}{'held':>7}")
    for kind in sorted({one.kind for one in told}):
        print(line(kind, [one for one in told if one.kind == kind]))
    print(line("all", told))
    print(line("all, from true percents", known))


if __name__ == "__main__":
    main()
