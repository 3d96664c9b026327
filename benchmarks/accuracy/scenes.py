"""Scenes: photos with exact truth, measured like a user's photos, each alone and then in its series."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.segmenter.scenes import scene_specs
from vision.days import SeriesFace, read_series
from vision.photo import measure_photo, paint_classes
from vision.pixels import load_picture
from vision.records import MeasuredVessel, PhotoContext, VesselSpec


@dataclass(frozen=True, eq=False)
class Case:
    """One vessel in one photo with its truth. taken: hours since the scene began; truth: class map of the photo."""

    scene: str
    photo: Path
    vessel: str
    kind: str
    taken_hours: float
    percent: float
    truth_file: Path
    vessel_file: Path
    vessel_value: int

    def true_classes(self) -> NDArray[np.uint8]:
        """The photo's true class map with this vessel's classes only (label and other parts left out)."""
        classes = cv2.imread(str(self.truth_file), cv2.IMREAD_GRAYSCALE)
        vessels = cv2.imread(str(self.vessel_file), cv2.IMREAD_GRAYSCALE)
        assert classes is not None
        assert vessels is not None
        mine = vessels == self.vessel_value
        return np.asarray(np.where(mine & (classes <= 3), classes, 0), np.uint8)


@dataclass(frozen=True, eq=False)
class Result:
    """A case with its readings: from the photo alone, and from the series. None where there is no reading.

    phase: number of shakes before the photo.
    """

    case: Case
    alone: MeasuredVessel | None
    series: MeasuredVessel | None
    phase: int = 0


def find_scenes(folder: Path) -> list[Path]:
    """Scene folders (those with a truth.json) in or at ``folder``."""
    return [folder] if (folder / "truth.json").exists() else sorted(path.parent for path in folder.glob("*/truth.json"))


def read_scene(scene: Path) -> list[Result]:
    """Measure every photo of a scene and read each vessel's series."""
    truth = json.loads((scene / "truth.json").read_text("utf-8"))
    specs = scene_specs(scene)
    labelled = any("label_corners" in vessel for photo in truth["photos"] for vessel in photo["vessels"])
    context = PhotoContext(specs, owner=None if labelled else next(iter(specs)))
    results: list[Result] = []
    for photo in truth["photos"]:
        found = {one.reading.vessel: one for one in measure_photo(load_picture(scene / photo["file"]).rgb, context)}
        for case in _cases(scene, photo):
            one = found.get(case.vessel)
            results.append(Result(case, one if one is not None and one.face is not None else None, None))
    begun = truth["time_zero"]
    shakes = {vessel["id"]: _shaken_hours(vessel, begun) for vessel in truth["vessels"]}
    spawned = {vessel["id"]: _hours(vessel["inoculated"], begun) for vessel in truth["vessels"]}
    return [
        result
        for vessel, spec in specs.items()
        for result in _in_series(
            [one for one in results if one.case.vessel == vessel],
            spec,
            spawned.get(vessel, 0.0),
            shakes.get(vessel, []),
        )
    ]


def mycelium_overlap(result: MeasuredVessel, case: Case) -> float | None:
    """Intersection over union of the mycelium class in the photo, or None if there is too little of it to compare."""
    true = case.true_classes() == 2
    said = paint_classes((true.shape[0], true.shape[1]), (result,)) == 2
    return overlap_of(true, said) if (true | said).sum() > 400 else None


def overlap_of(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> float:
    """Intersection over union of two masks, 0-1; at least one must not be empty."""
    return float((one & other).sum()) / int((one | other).sum())


def _in_series(
    results: Sequence[Result], spec: VesselSpec, inoculated_hours: float, shaken_hours: Sequence[float]
) -> Iterator[Result]:
    """The results of one vessel with the readings of its series added."""
    phases = {id(one): sum(at <= one.case.taken_hours for at in shaken_hours) for one in results}
    seen = [one for one in sorted(results, key=lambda one: one.case.taken_hours) if one.alone is not None]
    faces = [
        SeriesFace(
            days=(one.case.taken_hours - inoculated_hours) / 24,
            face=one.alone.face,
            reading=one.alone.reading,
            phase=phases[id(one)],
        )
        for one in seen
        if one.alone is not None and one.alone.face is not None
    ]
    together = dict(zip((id(one) for one in seen), read_series(faces, spec), strict=True)) if faces else {}
    for one in results:
        yield replace(one, series=together.get(id(one)), phase=phases[id(one)])


def _cases(scene: Path, photo: dict[str, Any]) -> Iterator[Case]:
    for vessel in photo["vessels"]:
        if vessel.get("cut_by_frame"):
            continue
        yield Case(
            scene=scene.name,
            photo=scene / photo["file"],
            vessel=vessel["id"],
            kind=vessel["kind"],
            taken_hours=float(photo["hours"]),
            percent=float(vessel["percent_visible"]),
            truth_file=scene / photo["mask"],
            vessel_file=scene / photo["vessel_mask"],
            vessel_value=int(vessel["mask_value"]),
        )


def _shaken_hours(vessel: dict[str, Any], zero: str) -> list[float]:
    """Hours since the scene began at which a vessel was shaken."""
    return [_hours(event["time"], zero) for event in vessel.get("events", []) if event["type"] == "shaken"]


def _hours(time: str, zero: str) -> float:
    return (datetime.fromisoformat(time) - datetime.fromisoformat(zero)).total_seconds() / 3600
