"""Faces cut from photos whose truth is known: a folder of scenes, each with photos, class masks and truth.json."""

import csv
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import LABELS, Kind, LabelSize, vessel_kinds
from training.segmenter.noise import Rng
from vision.label.labels import Label
from vision.pixels.colour import decode_srgb8
from vision.pixels.light import undo_shoulder
from vision.records import VesselSpec
from vision.surface.bare_substrate import Baseline, learn_baseline

_MARGIN_PX = 6
#: Writing is narrower than this.
_WRITING_MM = 4.0
#: Tape, stickers and posts in front are narrower than this.
_COVER_MM = 30.0


@dataclass(frozen=True, eq=False)
class SceneFace:
    """One vessel in one photo, cut out along its true outline.

    classes: uint8 (H, W), 1 bare, 2 mycelium, 3 contaminated, else not substrate; percent: true, as the photo's truth
    tells it; coloured_cm2: area of the contamination that shows colour; baseline: from the vessel's first photo.
    outline: bool (H, W), what the program takes for the face, or None where that is not known.
    """

    scene: str
    photo: str
    vessel: str
    kind: Kind
    linear_rgb: NDArray[np.float32]
    classes: NDArray[np.uint8]
    px_per_mm: float
    referenced: bool
    percent: float
    contaminated: bool
    coloured_cm2: float
    baseline: Baseline | None
    outline: NDArray[np.bool_] | None = None

    @property
    def inside(self) -> NDArray[np.bool_]:
        """True on substrate surface, bare, colonised or contaminated."""
        return (self.classes >= 1) & (self.classes <= 3)


#: The program's outline of each vessel in a photo (rows, columns), by its id, as far as one is found: from the photo
#: (RGB) and its part of truth.json.
Outliner = Callable[[NDArray[np.uint8], dict[str, Any]], Mapping[str, NDArray[np.bool_]]]


def load_scene(truth_file: Path, outliner: Outliner | None = None) -> list[SceneFace]:
    """All faces of one scene, in order of time, with the outlines of an outliner."""
    truth = json.loads(truth_file.read_text("utf-8"))
    scene = truth_file.parent
    baselines: dict[str, Baseline | None] = {}
    faces = []
    for photo in sorted(truth["photos"], key=lambda p: str(p["time"])):
        rgb, classes, owners = read_with_truth(scene, photo)
        linear = undo_shoulder(decode_srgb8(rgb))
        outlines = outliner(rgb, photo) if outliner else {}
        for vessel in photo["vessels"]:
            own = np.where(owners == vessel["mask_value"], classes, 0).astype(np.uint8)
            own = under_writing(own, vessel["px_per_mm"])
            outline = outlines.get(vessel["id"])
            face = _cut(scene.name, photo["file"], vessel, linear, own, baselines, outline)
            if face is not None:
                faces.append(face)
    return faces


def under_writing(classes: NDArray[np.uint8], px_per_mm: float) -> NDArray[np.uint8]:
    """The classes of one vessel, where thin writing on the face has the class of its nearest neighbour.

    The program's outline holds what is written on film or glass, so the network must learn to look past it.
    """
    face = ((classes >= 1) & (classes <= 3)).astype(np.uint8)
    side = max(3, round(_WRITING_MM * px_per_mm) | 1)
    written = (_closed(face, side) > 0) & (classes == 5)
    if not written.any() or not face.any():
        return classes
    _, nearest = cv2.distanceTransformWithLabels(1 - face, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL)
    class_of = np.zeros(int(nearest.max()) + 1, np.uint8)
    class_of[nearest[face > 0]] = classes[face > 0]
    return np.where(written, class_of[nearest], classes).astype(np.uint8)


def outlined(classes: NDArray[np.uint8], px_per_mm: float) -> NDArray[np.bool_]:
    """What the program's outline holds of one vessel, (H, W): the surface and what covers it, but for the label."""
    face = ((classes >= 1) & (classes <= 3)).astype(np.uint8)
    side = round(_COVER_MM * px_per_mm) | 1
    return (_closed(np.pad(face, side), side)[side:-side, side:-side] > 0) & (classes != 4)


def _closed(face: NDArray[np.uint8], side: int) -> NDArray[np.uint8]:
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    return np.asarray(cv2.morphologyEx(face, cv2.MORPH_CLOSE, disc), np.uint8)


def read_with_truth(
    scene: Path, photo: dict[str, Any]
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]:
    """A photo of a scene, RGB, its class mask and its mask of vessels; photo: as truth.json has it."""
    bgr = cv2.imread(str(scene / photo["file"]), cv2.IMREAD_COLOR)
    classes = cv2.imread(str(scene / photo["mask"]), cv2.IMREAD_UNCHANGED)
    owners = cv2.imread(str(scene / photo["vessel_mask"]), cv2.IMREAD_UNCHANGED)
    if bgr is None or classes is None or owners is None:
        msg = f"cannot read {scene / photo['file']} or its masks"
        raise FileNotFoundError(msg)
    rgb = np.ascontiguousarray(bgr[:, :, ::-1], np.uint8)
    return rgb, np.asarray(classes, np.uint8), np.asarray(owners, np.uint8)


def _cut(
    scene: str,
    photo: str,
    vessel: dict[str, Any],
    linear: NDArray[np.float32],
    own: NDArray[np.uint8],
    baselines: dict[str, Baseline | None],
    outline: NDArray[np.bool_] | None,
) -> SceneFace | None:
    surface = (own >= 1) & (own <= 3)
    if np.count_nonzero(surface) < 100:
        return None
    rows, columns = np.nonzero(surface if outline is None else surface | outline)
    window = (
        slice(max(rows.min() - _MARGIN_PX, 0), rows.max() + _MARGIN_PX + 1),
        slice(max(columns.min() - _MARGIN_PX, 0), columns.max() + _MARGIN_PX + 1),
    )
    referenced = "label_corners" in vessel
    light = linear[window]
    if referenced:
        light = (light / _white(linear, vessel)).astype(np.float32)
    px_per_mm = vessel_kinds()[vessel["kind"]].face_px_per_mm  # as the program cuts it: the detail plane depends on it
    scale = px_per_mm / vessel["px_per_mm"]
    size = (round(light.shape[1] * scale), round(light.shape[0] * scale))
    filter_used = cv2.INTER_LINEAR if scale > 1 else cv2.INTER_AREA
    light = np.asarray(cv2.resize(light, size, interpolation=filter_used), np.float32)
    small = np.asarray(cv2.resize(own[window], size, interpolation=cv2.INTER_NEAREST), np.uint8)
    name = vessel["id"]
    if name not in baselines:
        inside = (small >= 1) & (small <= 3)
        bare = vessel["percent_visible"] < 0.2
        baselines[name] = learn_baseline(light, inside, referenced=referenced) if bare else None
    coloured = vessel["face_pixels"] * vessel["contamination_coloured_percent"] / vessel["px_per_mm"] ** 2 / 1e4
    return SceneFace(
        scene, photo, name, vessel["kind"], light, small, px_per_mm, referenced, vessel["percent_visible"],
        vessel["contamination_percent"] > 0, coloured, baselines[name],
        None if outline is None else _resized(outline[window], size),
    )  # fmt: skip


def _resized(mask: NDArray[np.bool_], size: tuple[int, int]) -> NDArray[np.bool_]:
    """A mask at another size (columns, rows)."""
    return np.asarray(cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0)


def true_label_size(vessel: dict[str, Any]) -> LabelSize:
    """The size of a vessel's label in its scene, which the vessel's record leaves open."""
    return "normal" if vessel["label_mm"][0] == 60 else "small"


def true_label(vessel: dict[str, Any], rng: Rng) -> Label:
    """A vessel's label at its true place, with corners off by half a pixel, like those that the program finds."""
    geometry = LABELS[true_label_size(vessel)]
    sticker = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32) * vessel["label_mm"]
    to_photo = cv2.getPerspectiveTransform(sticker.astype(np.float32), np.array(vessel["label_corners"], np.float32))
    left, top, side = geometry.code_left_mm, geometry.code_top_mm, geometry.code_side_mm
    code = np.array([[[left, top], [left + side, top], [left + side, top + side], [left, top + side]]], np.float64)
    corners = cv2.perspectiveTransform(code, to_photo.astype(np.float64))[0]
    return Label(vessel["id"], corners + rng.normal(0, 0.4, corners.shape))


def _white(linear: NDArray[np.float32], vessel: dict[str, Any]) -> NDArray[np.float64]:
    """What a matt white would send at the label (3,), from the grey patches between its true corners."""
    label = LABELS[true_label_size(vessel)]
    width, height = vessel["label_mm"]
    corners = np.array(vessel["label_corners"], np.float32)
    sticker = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    to_photo = cv2.getPerspectiveTransform(sticker, corners)
    gains = []
    for patch in label.patches:
        steps = patch.side_mm * np.linspace(0.2, 0.8, 7)
        spots = np.stack(np.meshgrid(patch.left_mm + steps, patch.top_mm + steps), axis=-1).reshape(1, -1, 2)
        seen = cv2.perspectiveTransform(spots.astype(np.float32), to_photo)
        level = np.median(cv2.remap(linear, seen[..., 0], seen[..., 1], cv2.INTER_LINEAR)[0], axis=0)
        gains.append((float(level.max()), level / patch.light))
    usable = [gain for level, gain in gains if level <= 0.6] or [gain for _, gain in gains]
    return np.asarray(np.exp(np.median(np.log(np.maximum(usable, 1e-4)), axis=0)))


def scene_specs(scene: Path) -> dict[str, VesselSpec]:
    """The vessels of a scene by id, from its vessels.csv."""
    with (scene / "vessels.csv").open(newline="", encoding="utf-8") as source:
        rows = list(csv.DictReader(source))
    return {
        row["id"]: VesselSpec(
            id=row["id"],
            kind=row["kind"],  # checked where it is looked up
            species=row.get("species", ""),
            substrate=row.get("substrate", ""),
            label_size=row.get("label_size") or None,  # type: ignore[arg-type]
            face_width_mm=_number(row.get("face_width_mm")),
            face_height_mm=_number(row.get("face_height_mm")),
            diameter_mm=_number(row.get("diameter_mm")),
        )
        for row in rows
    }


def _number(text: str | None) -> float | None:
    return float(text) if text else None
