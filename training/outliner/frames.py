"""Frames of vessels cut from photos with known truth, in the same way as in the program, with and without a label."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.segmenter.noise import Rng
from training.segmenter.scenes import read_with_truth, scene_specs, true_label, true_label_size
from vision.face.cut_out import label_geometry, label_mask, labelled_frame, usual_sides
from vision.face.find_labelled import planes_px_per_mm
from vision.face.find_unlabelled import ALONE_ROWS, alone_sides, frame_around
from vision.face.frame import Frame
from vision.face.outline_network import Sides
from vision.label.labels import Label
from vision.label.white import white_at_label
from vision.photo.measure_face import guessed_white
from vision.pixels.light import lit
from vision.records import VesselSpec, kind_of

#: Values of a scene's class mask that are the face's surface, and that is the label.
_SURFACE, _LABEL = (1, 2, 3), 4
#: Height of the vessel in a picture of one vessel without a label, as a share of the picture's height.
_ALONE_SHARE = (0.33, 0.95)
#: Vessels of a photo that are also cut out as single vessels, and the largest share of vessel in a part without one.
_ALONE_A_PHOTO, _EMPTY = 2, 0.01
#: How often a small label is taken for a normal one where the record does not tell.
_TAKEN_FOR_NORMAL = 0.25


@dataclass(frozen=True, eq=False)
class FrameExample:
    """A frame with its truth, at twice the scale of the network's planes.

    group: frames of about one size. light: float16 (2 h, 2 w, 3), linear, matt white 1. masks: uint8 (2 h, 2 w, 3),
    0 or 255: face, label, seen. usual: the usual place of the face, in pixels of the planes.
    """

    group: str
    light: NDArray[np.float16]
    masks: NDArray[np.uint8]
    usual: Sides


def scene_frames(truth_file: Path, rng: Rng) -> Iterator[FrameExample]:
    """Frames of a scene's vessels: by label (not plates), cut out as single vessels, and parts without a vessel."""
    scene, truth = truth_file.parent, json.loads(truth_file.read_text("utf-8"))
    specs = scene_specs(scene)
    for photo in truth["photos"]:
        yield from _photo_frames(scene, photo, specs, rng)


def _photo_frames(scene: Path, photo: dict[str, Any], specs: dict[str, VesselSpec], rng: Rng) -> Iterator[FrameExample]:
    rgb, classes, owners = read_with_truth(scene, photo)
    faces = {
        vessel["id"]: true_face(classes, owners == vessel["mask_value"], specs[vessel["id"]])
        for vessel in photo["vessels"]
    }
    upright = [vessel for vessel in photo["vessels"] if vessel["kind"] != "plate" and "label_corners" in vessel]
    yield from _labelled_frames(rgb, faces, specs, upright, rng)
    names = list(faces)
    for vessel in rng.permutation(names)[:_ALONE_A_PHOTO]:
        if faces[vessel].sum() > 400:
            yield from _alone_frames(rgb, faces[vessel], specs[vessel], rng)
    if len(names) == 1 and "label_corners" not in photo["vessels"][0]:
        yield _whole_picture(rgb, faces[names[0]], specs[names[0]])
    part = _empty_part(owners, rng)
    if part is not None:
        spec = specs[names[int(rng.integers(len(names)))]] if names else VesselSpec("", "bag")
        yield _whole_picture(rgb[part], np.zeros(owners[part].shape, np.bool_), spec)


def _empty_part(owners: NDArray[np.uint8], rng: Rng) -> tuple[slice, slice] | None:
    """A part of a photo that shows at most a small share of a vessel, or None."""
    rows, columns = owners.shape
    for _ in range(20):
        height, width = (int(side * rng.uniform(0.15, 0.6)) for side in (rows, columns))
        top, left = int(rng.integers(rows - height + 1)), int(rng.integers(columns - width + 1))
        part = (slice(top, top + height), slice(left, left + width))
        if 0.5 < width / height < 2 and (owners[part] > 0).mean() < _EMPTY:
            return part
    return None


def true_face(classes: NDArray[np.uint8], own: NDArray[np.bool_], spec: VesselSpec) -> NDArray[np.bool_]:
    """Mask of a vessel's face in a photo (rows, columns): its surface, and the part of the label on it."""
    surface = np.isin(classes, _SURFACE) & own
    face = surface.astype(np.uint8)
    if kind_of(spec).label_place == "on_face" and surface.any():
        contours, _ = cv2.findContours(face, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        hull = np.zeros_like(face)
        cv2.fillPoly(hull, [cv2.convexHull(np.concatenate(contours))], 1)
        face |= hull & (classes == _LABEL).astype(np.uint8)
    contours, _ = cv2.findContours(face, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    cv2.drawContours(face, contours, -1, 1, -1)
    return face > 0


def _labelled_frames(
    rgb: NDArray[np.uint8],
    faces: dict[str, NDArray[np.bool_]],
    specs: dict[str, VesselSpec],
    vessels: list[dict[str, Any]],
    rng: Rng,
) -> Iterator[FrameExample]:
    labels = {vessel["id"]: true_label(vessel, rng) for vessel in vessels}
    sized = {vessel["id"]: replace(specs[vessel["id"]], label_size=true_label_size(vessel)) for vessel in vessels}
    for vessel, label in labels.items():
        # At times as if a small label were taken for a normal one, as the program first does.
        spec = specs[vessel] if rng.random() < _TAKEN_FOR_NORMAL else sized[vessel]
        white = white_at_label(rgb, label, label_geometry(spec))
        if white is not None:
            frame = labelled_frame(spec, label, float(np.median([one.angle for one in labels.values()])))
            yield _example(rgb, faces[vessel], frame, white, usual_sides(spec), spec, label)


def _whole_picture(rgb: NDArray[np.uint8], face: NDArray[np.bool_], spec: VesselSpec) -> FrameExample:
    """A whole picture as it is first searched for its one vessel; face: mask of its face, empty if there is none."""
    twice = (2 * max(1, round(ALONE_ROWS * rgb.shape[1] / rgb.shape[0])), 2 * ALONE_ROWS)
    small = np.asarray(cv2.resize(rgb, twice, interpolation=cv2.INTER_AREA), np.uint8)
    inside = cv2.resize(face.astype(np.uint8) * 255, twice, interpolation=cv2.INTER_AREA) > 127
    light = lit(small, guessed_white(small.reshape(-1, 3))).light()
    sides = alone_sides(spec, (ALONE_ROWS, twice[0] // 2))
    return FrameExample("alone", light.astype(np.float16), _masks(inside, None, None), sides)


def _alone_frames(
    rgb: NDArray[np.uint8], face: NDArray[np.bool_], spec: VesselSpec, rng: Rng
) -> Iterator[FrameExample]:
    """The part of a photo around a vessel, treated as the whole photo, and the frame first found in it."""
    rows, columns = np.nonzero(face)
    height = np.ptp(rows) / rng.uniform(*_ALONE_SHARE)
    width = min(height * rng.uniform(0.7, 1.4), face.shape[1])
    height = min(height, face.shape[0])
    top = int(np.clip((rows.min() + rows.max() - height) / 2 + rng.normal(0, 0.06) * height, 0, face.shape[0] - height))
    left = int(
        np.clip((columns.min() + columns.max() - width) / 2 + rng.normal(0, 0.06) * width, 0, face.shape[1] - width)
    )
    part = (slice(top, top + int(height)), slice(left, left + int(width)))
    yield _whole_picture(rgb[part], face[part], spec)
    size = np.exp(rng.normal(0, 0.06))
    middle = np.array([columns.mean(), rows.mean()]) + rng.normal(0, 0.03, 2) * np.ptp(columns)
    frame, sides = frame_around(spec, middle, float(np.ptp(columns)) * size)
    yield _example(rgb, face, frame, guessed_white(rgb[face]), sides, spec, None)


def _example(
    rgb: NDArray[np.uint8],
    face: NDArray[np.bool_],
    frame: Frame,
    white: NDArray[np.float64],
    sides_mm: Sides,
    spec: VesselSpec,
    label: Label | None,
) -> FrameExample:
    kind = kind_of(spec)
    scale = planes_px_per_mm(spec)
    twice = frame.scaled(2 * scale)
    twice = twice.window(0, 0, twice.rows // 2 * 2, twice.columns // 2 * 2)
    light = lit(twice.cut(rgb), white).light()
    inside = twice.cut(face.astype(np.uint8) * 255) > 127
    known = None if label is None else label_mask(twice, spec, label)
    masks = _masks(inside, known, twice.inside_photo(*face.shape))
    sides = tuple(side * scale for side in sides_mm)
    group = "alone" if label is None else kind.label_place
    return FrameExample(group, light.astype(np.float16), masks, sides)  # type: ignore[arg-type]


def _masks(
    face: NDArray[np.bool_], label: NDArray[np.bool_] | None, seen: NDArray[np.bool_] | None
) -> NDArray[np.uint8]:
    planes = (face, np.zeros_like(face) if label is None else label, np.ones_like(face) if seen is None else seen)
    return np.dstack(planes).astype(np.uint8) * 255
