"""Run a scene like a grower: a farm, each photo measured on its day, and the suspects at the end of that day."""

import json
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from pydantic import TypeAdapter
from sqlalchemy import select

from benchmarks.contamination.looks import DUE_CM2, USUAL_DUE_CM2, Box, Flag, Look
from benchmarks.contamination.rule import green_boxes
from farm.measure import RunOptions, measure_paths
from farm.outlook import follow_suspects
from farm.records import add_event, get_vessel, import_vessels, list_events, list_readings
from farm.records.models import KeptReading
from farm.records.models import Suspect as KeptSuspect
from farm.records.readings import face_file
from farm.store import Farm, create_farm, to_instant
from farm.store.schema import readings
from vision.face import decode_face
from vision.records import Suspect

#: A flag lies on contamination if its box is within this distance of it, mm.
_NEAR_MM = 4.0
_BARE, _MYCELIUM, _CONTAMINATED = 1, 2, 3
#: Colour words of the truth that the program words differently.
_WORDS = {"orange_pink": "pink-orange", "blue_green": "blue-green"}


@dataclass(frozen=True, eq=False)
class _Truth:
    """One photo: the contaminated part of a vessel, grown by the tolerance, and its figures."""

    facts: dict[str, Any]
    near: NDArray[np.bool_]
    boxes: tuple[Box, ...]
    ground: str

    def holds(self, box: Box) -> bool:
        left, top, width, height = (max(0, edge) for edge in box)
        return bool(self.near[top : top + max(1, height), left : left + max(1, width)].any())


def watch_scene(scene: Path, home: Path) -> list[Look]:
    """Every vessel in every photo of a scene, in order of time. home: where its farm is made."""
    truth = json.loads((scene / "truth.json").read_text("utf-8"))
    photos = sorted(truth["photos"], key=lambda one: float(one["hours"]))
    with create_farm(home / scene.name) as farm:
        import_vessels(farm, scene / "vessels.csv")
        _note_shakes(farm, truth)
        album = _album(scene, photos, home)
        truths: dict[tuple[str, str], _Truth] = {}
        looks: list[Look] = []
        for photo in photos:
            for vessel in photo["vessels"]:
                truths[photo["file"], vessel["id"]] = _truth(scene, photo, vessel)
            measure_paths(farm, [album / photo["file"]], RunOptions())
            looks += _look(farm, scene, photo, truths)
    return looks


def _album(scene: Path, photos: list[dict[str, Any]], home: Path) -> Path:
    """Folder of the photos; for photos without labels, a folder named after the vessel they show."""
    ids = {vessel["id"] for photo in photos for vessel in photo["vessels"]}
    if any("label_corners" in vessel for photo in photos for vessel in photo["vessels"]) or len(ids) != 1:
        return scene
    album: Path = home / "albums" / scene.name / ids.pop()
    album.mkdir(parents=True)
    for photo in photos:
        shutil.copy2(scene / photo["file"], album)
    return album


def _note_shakes(farm: Farm, truth: dict[str, Any]) -> None:
    for vessel in truth["vessels"]:
        for event in vessel.get("events", []):
            if event["type"] == "shaken":
                add_event(farm, vessel["id"], "shaken", to_instant(datetime.fromisoformat(event["time"]), farm.zone))


def _truth(scene: Path, photo: dict[str, Any], vessel: dict[str, Any]) -> _Truth:
    classes = cv2.imread(str(scene / photo["mask"]), cv2.IMREAD_UNCHANGED)
    owners = cv2.imread(str(scene / photo["vessel_mask"]), cv2.IMREAD_UNCHANGED)
    mask = ((classes == _CONTAMINATED) & (owners == vessel["mask_value"])).astype(np.uint8)
    reach = 2 * round(_NEAR_MM * vessel["px_per_mm"]) + 1
    near = cv2.dilate(mask, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))) > 0
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    boxes = tuple(tuple(map(int, cv2.boundingRect(one))) for one in contours if cv2.contourArea(one) > reach)
    around = near & (owners == vessel["mask_value"])
    on_mycelium = int((around & (classes == _MYCELIUM)).sum()) > int((around & (classes == _BARE)).sum())
    ground = ("mycelium" if on_mycelium else "bare") if mask.any() else ""
    return _Truth(vessel, near, boxes, ground)  # type: ignore[arg-type]  # four numbers each


def _look(farm: Farm, scene: Path, photo: dict[str, Any], truths: dict[tuple[str, str], _Truth]) -> Iterator[Look]:
    kept = list_readings(farm)
    for facts in photo["vessels"]:
        mine = [one for one in kept if one.vessel == facts["id"] and one.status == "ok"]
        here = next((one for one in mine if Path(one.photo).name == photo["file"]), None)
        truth = truths[photo["file"], facts["id"]]
        share = facts["face_pixels"] / facts["px_per_mm"] ** 2 / 1e4
        hits, misfires = (False, False) if here is None else _rule(farm, here, facts["kind"], truth)
        vessel = get_vessel(farm, facts["id"])
        yield Look(
            scene=scene.name,
            photo=photo["file"],
            vessel=facts["id"],
            kind=facts["kind"],
            day=float(photo["hours"]) / 24,
            true_cm2=share * facts["contamination_percent"],
            true_coloured_cm2=share * facts["contamination_coloured_percent"],
            colour=" ".join(_WORDS.get(word, word) for word in facts["contamination_class"]),
            is_read=here is not None,
            flags=() if here is None else tuple(_flags(farm, vessel.id, mine, truths)),
            alone=() if here is None else tuple(_patches(_alone_suspects(farm, here), truth)),
            series=() if here is None else tuple(_patches(here.suspects, truth)),
            ground=truth.ground,
            rule_hits=hits,
            rule_misfires=misfires,
            photo_file=scene / photo["file"],
            face_box=None if here is None else here.face_box,
            truth_boxes=truth.boxes,
        )


def _flags(
    farm: Farm, vessel_id: str, kept: list[KeptReading], truths: dict[tuple[str, str], _Truth]
) -> Iterator[Flag]:
    vessel = get_vessel(farm, vessel_id)
    shaken = [one.at for one in list_events(farm) if one.vessel == vessel_id and one.event == "shaken"]
    for history in follow_suspects(vessel, kept, shaken):
        if history.is_own_colour(vessel.species):
            continue
        last = history.last
        truth = truths[Path(last.reading.photo).name, vessel_id]
        boxes = tuple(patch.box for patch in last.patches)
        yield Flag(history.colour, history.score, last.area_cm2, boxes, any(truth.holds(box) for box in boxes))


def _patches(suspects: Iterable[Suspect | KeptSuspect], truth: _Truth) -> Iterator[Flag]:
    for one in suspects:
        if not one.own_colour:
            yield Flag(one.colour, one.score, one.area_cm2, (one.box,), truth.holds(one.box))


def _alone_suspects(farm: Farm, reading: KeptReading) -> tuple[Suspect, ...]:
    """The suspects of a photo's reading before its series was known."""
    row = (readings.c.photo == reading.photo_hash, readings.c.slot == reading.slot)
    with farm.reading() as connection:
        alone = connection.execute(select(readings.c.alone).where(*row)).scalar_one()
    return tuple(TypeAdapter(list[Suspect]).validate_python(alone.get("suspects") or []))


def _rule(farm: Farm, reading: KeptReading, kind: str, truth: _Truth) -> tuple[bool, bool]:
    source = face_file(farm, reading.photo_hash, reading.slot)
    if not source.is_file():
        return False, False
    boxes = green_boxes(decode_face(source.read_bytes()), DUE_CM2.get(kind, USUAL_DUE_CM2))
    return any(truth.holds(box) for box in boxes), any(not truth.holds(box) for box in boxes)
