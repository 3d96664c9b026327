"""Render a series and write it as a scene folder: photos, masks, vessel masks, truth.json, vessels.csv."""

import csv
import json
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from training.scenes import world
from training.scenes.dress import Vessel, build, dress
from training.scenes.growth import State
from training.scenes.meshes import Points
from training.scenes.phone import Phone, save, take
from training.scenes.recipes import ScenePlan
from training.scenes.render import Part, Sight, View, on_surfaces, render_light, render_sight

ZERO = datetime(2026, 4, 6)  # noqa: DTZ001 - a camera's local time
_CLASSES = {"0": "background", "1": "bare substrate", "2": "mycelium", "3": "contamination", "4": "label",
            "5": "other vessel parts"}  # fmt: skip
_OTHER, _LABEL = 5, 4
#: A surface is followed this long to find when 99 % is reached.
_LAST_HOUR = 1200


@dataclass(eq=False)
class Day:
    """One photo's truth in the making."""

    classes: NDArray[np.uint8]
    owners: NDArray[np.uint8]
    coloured: NDArray[np.bool_]
    spots: dict[int, tuple[NDArray[np.int64], NDArray[np.int64]]] = field(default_factory=dict)


def make_series(plan: ScenePlan, out: Path, samples: int, scale: float = 1.0, photos: int | None = None) -> None:
    """Render the scene of a plan into ``out``; scale below 1 makes small pictures, photos takes only the first few.

    With no samples the truth is written anew and the photos stay as they are.
    """
    folder = out / plan.name
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(plan.seed)
    vessels = [build(rng, plan, number, at) for number, at in enumerate(world.stands(plan))]
    around = world.tray(rng, plan) if plan.kind == "plate" else world.shelf(rng, plan)
    around += world.things(rng, plan)
    lamps = world.lamps(rng, plan)
    records: list[dict[str, Any]] = []
    seen: dict[int, tuple[NDArray[np.int64], NDArray[np.int64]]] = {}
    for number, hours in list(enumerate(plan.hours))[:photos]:
        day_rng = np.random.default_rng(plan.seed * 1000 + number)
        view = _scaled(world.view(day_rng, plan), scale)
        dressed = {v.number: dress(day_rng, plan, v, hours - v.plan.inoculated_hours) for v in vessels}
        parts = around + [part for made, _, _ in dressed.values() for part in made]
        sight = render_sight(view, parts)
        day = _truth(on_surfaces(view, parts, sight), parts, {n: state for n, (_, _, state) in dressed.items()})
        seen = seen or day.spots
        stem = (ZERO + timedelta(hours=hours)).strftime("%Y%m%d_%H%M")
        if samples:
            light = render_light(view, parts, lamps, plan.ambient, sight, samples, plan.seed + number)
            phone = _phone(day_rng, plan, number)
            save(take(day_rng, phone, light), folder / f"{stem}.jpg", ZERO + timedelta(hours=hours), phone.quality)
        Image.fromarray(day.classes).save(folder / f"{stem}_mask.png")
        Image.fromarray(day.owners).save(folder / f"{stem}_vessel.png")
        corners = {n: made[1] for n, made in dressed.items()}
        records.append(_photo_record(plan, vessels, stem, hours, view, day, corners))
        print(f"{plan.name} {stem}", flush=True)
    histories = [_history_record(v, plan, seen.get(v.number)) for v in vessels]
    truth = {"scene": plan.name, "time_zero": ZERO.isoformat(timespec="minutes"), "mask_classes": _CLASSES,
             "vessels": histories, "photos": records}  # fmt: skip
    (folder / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    _write_list(plan, folder / "vessels.csv")


def _scaled(view: View, scale: float) -> View:
    size = (round(view.width * scale), round(view.height * scale))
    return View(view.origin, view.rotation, view.focal_px * scale, *size)


def _phone(rng: np.random.Generator, plan: ScenePlan, number: int) -> Phone:
    balance = np.exp(rng.normal(0, 0.03, 3))
    red, green, blue = (float(c) for c in np.array(plan.cast) * balance / balance[1])
    lens = (rng.uniform(0.5, 0.75), rng.uniform(0.15, 0.4), rng.uniform(0.008, 0.016))
    return Phone(plan.stops[number], (red, green, blue), *lens, int(rng.integers(*plan.quality, endpoint=True)))


def _truth(sight: Sight, parts: list[Part], states: dict[int, State]) -> Day:
    first, uv = sight.part, sight.uv
    shape = first.shape
    day = Day(np.zeros(shape, np.uint8), np.zeros(shape, np.uint8), np.zeros(shape, bool))
    for number, part in enumerate(parts):
        if not part.name.startswith("v"):
            continue
        owner, what = part.name[1:].split("_")
        here = first == number
        day.owners[here] = int(owner)
        if what != "surface":
            day.classes[here] = _LABEL if what == "label" else _OTHER
            continue
        state = states[int(owner)]
        limit = np.array(state.classes.shape)[::-1]
        column, row = np.clip((uv[here] * limit).astype(np.int64), 0, limit - 1).T
        day.classes[here] = state.classes[row, column]
        day.coloured[here] = state.coloured[row, column]
        day.spots[int(owner)] = (row, column)
    return day


def _photo_record(plan: ScenePlan, vessels: list[Vessel], stem: str, hours: float, view: View, day: Day,
                  corners: dict[int, Points | None]) -> dict[str, Any]:  # fmt: skip
    seen = [_vessel_record(plan, v, view, day, corners[v.number], hours) for v in vessels if v.number in day.spots]
    return {
        "file": f"{stem}.jpg", "mask": f"{stem}_mask.png", "vessel_mask": f"{stem}_vessel.png",
        "time": (ZERO + timedelta(hours=hours)).isoformat(timespec="minutes"), "hours": hours,
        "width": view.width, "height": view.height, "vessels": seen,
    }  # fmt: skip


def _vessel_record(plan: ScenePlan, vessel: Vessel, view: View, day: Day, corners: Points | None,
                   hours: float) -> dict[str, Any]:  # fmt: skip
    own = day.owners == vessel.number
    face = own & (day.classes >= 1) & (day.classes <= 3)
    count = max(int(face.sum()), 1)
    rows, columns = np.nonzero(face)
    ill = int((face & (day.classes == 3)).sum())
    deep = {"bag": 0.3 * vessel.plan.size_mm[0], "jar": vessel.plan.size_mm[0], "plate": 0.0}[plan.kind]
    since = hours - vessel.plan.inoculated_hours
    record = {
        "id": vessel.plan.id, "kind": plan.kind, "mask_value": vessel.number,
        "percent_visible": round(100 * int((face & (day.classes == 2)).sum()) / count, 2),
        "contamination_percent": round(100 * ill / count, 2),
        "contamination_coloured_percent": round(100 * int((face & day.coloured).sum()) / count, 2),
        "contamination_class": [m.colour for m in vessel.plan.moulds if ill and since > m.first_hours],
        "face_bbox": [int(columns.min()), int(rows.min()), int(columns.max()), int(rows.max())],
        "face_pixels": count,
        "px_per_mm": round(view.focal_px / view.distance(np.add(vessel.stand, (0, 0, deep))), 3),
    }  # fmt: skip
    if corners is not None:
        record["label_corners"] = np.round(view.project(corners), 1).tolist()
        record["label_mm"] = [30, 20] if plan.label_size == "small" else [60, 40]
    return record


def _history_record(vessel: Vessel, plan: ScenePlan, spots: tuple[Any, Any] | None) -> dict[str, Any]:
    """The vessel's growth: percent every 6 h of the face that its first photo shows, and when it reaches 99."""
    curve: list[tuple[float, float]] = []
    while plan.followed and spots is not None and len(curve) * 6 <= _LAST_HOUR and (not curve or curve[-1][1] < 99.7):
        classes, _ = vessel.classes_at(6.0 * len(curve))
        curve.append((6.0 * len(curve), round(100 * float((classes[spots] == 2).mean()), 2)))
        if vessel.plan.culture.stalled_hours and curve[-1][0] > vessel.plan.culture.stalled_hours + 24:
            break
    reached = [hour for hour, percent in curve if percent >= 99]
    begun = ZERO + timedelta(hours=vessel.plan.inoculated_hours)
    shaken = vessel.plan.shaken_hours
    culture = vessel.plan.culture
    return {
        "id": vessel.plan.id, "kind": plan.kind, "inoculated": begun.isoformat(timespec="minutes"),
        "inoculated_hours": vessel.plan.inoculated_hours,
        "t99_hours_since_inoculation": reached[0] if reached else None,
        "t99_time": (begun + timedelta(hours=reached[0])).isoformat(timespec="minutes") if reached else None,
        "model": {
            "substrate": vessel.plan.substrate, "spawn": culture.start, "seeds": culture.points,
            "front_mm_per_day": culture.mm_per_day, "lag_h": culture.lag_hours, "ramp_tau_h": culture.tau_hours,
            "style": culture.style, "stalled_at_h": culture.stalled_hours,
            "model": "arrival times on a lognormal correlated speed field; opacity ramp behind the front",
        },
        "events": [{"type": "shaken", "hours_since_inoculation": shaken,
                    "time": (begun + timedelta(hours=shaken)).isoformat(timespec="minutes")}] if shaken else [],
        "contamination": [{"cls": m.colour, "first_cells_hours": m.first_hours, "mm_per_day": m.mm_per_day}
                          for m in vessel.plan.moulds],
        "true_curve_6h": curve,
    }  # fmt: skip


def _write_list(plan: ScenePlan, path: Path) -> None:
    names = ["id", "kind", "species", "substrate", "inoculated"]
    names += ["label_size"] if plan.label_size == "small" else []
    names += ["face_width_mm", "face_height_mm"] if plan.size_in_list else []
    with path.open("w", newline="", encoding="utf-8") as target:
        table = csv.DictWriter(target, names, extrasaction="ignore")
        table.writeheader()
        for vessel in plan.vessels:
            begun = ZERO + timedelta(hours=vessel.inoculated_hours)
            species = "rhizo white" if vessel.culture.style == "ropey" else "cottony white"
            table.writerow({
                "id": vessel.id, "kind": plan.kind, "species": species, "substrate": vessel.substrate,
                "inoculated": begun.isoformat(timespec="minutes"), "label_size": plan.label_size,
                "face_width_mm": f"{vessel.size_mm[0]:g}", "face_height_mm": f"{vessel.size_mm[1]:g}",
            })  # fmt: skip
