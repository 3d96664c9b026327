"""Frames of upright vessels cut from photos with known truth, as the program cuts them, with and without a label."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.accuracy.scenes import scene_specs
from training.segmenter.noise import Rng
from training.segmenter.scenes import read_with_truth
from vision.face.cut_out import label_geometry, label_mask, labelled_frame, usual_sides
from vision.face.find_labelled import planes_px_per_mm
from vision.face.find_unlabelled import ALONE_ROWS, alone_sides, frame_around
from vision.face.frame import Frame
from vision.face.outline_network import Sides
from vision.label.labels import Label, find_labels
from vision.label.pose import settle_label
from vision.label.vessel_names import ExpectedLabels
from vision.label.white import white_at_label
from vision.photo.measure_face import guessed_white
from vision.pixels.colour import grey_of
from vision.pixels.light import lit
from vision.records import PhotoContext, VesselSpec, kind_of

#: Values of a scene's class mask that are the face's surface, and that is the label.
_SURFACE, _LABEL = (1, 2, 3), 4
#: Of its whole height a picture of one vessel without a label shows the vessel on so much.
_ALONE_SHARE = (0.33, 0.85)


@dataclass(frozen=True, eq=False)
class FrameExample:
    """A frame with its truth, at twice the scale of the network's planes.

    group: frames of about one size. light: float16 (2 h, 2 w, 3), linear, matt white 1. masks: uint8 (2 h, 2 w, 3),
    0 or 255: face, label, seen. usual: where the face would usually lie, in pixels of the planes.
    """

    group: str
    light: NDArray[np.float16]
    masks: NDArray[np.uint8]
    usual: Sides


def load_frames(folder: Path, rng: Rng) -> Iterator[FrameExample]:
    """Frames of all upright vessels of the scenes in a folder: by the label, and as if photographed alone."""
    for truth_file in sorted(folder.glob("*/truth.json")):
        scene, truth = truth_file.parent, json.loads(truth_file.read_text("utf-8"))
        specs = scene_specs(scene)
        for photo in truth["photos"]:
            if any(vessel["kind"] != "plate" for vessel in photo["vessels"]):
                yield from _photo_frames(scene, photo, specs, rng)


def _photo_frames(scene: Path, photo: dict[str, Any], specs: dict[str, VesselSpec], rng: Rng) -> Iterator[FrameExample]:
    rgb, classes, owners = read_with_truth(scene, photo)
    faces = {
        vessel["id"]: true_face(classes, owners == vessel["mask_value"], specs[vessel["id"]])
        for vessel in photo["vessels"]
        if vessel["kind"] != "plate"
    }
    yield from _labelled_frames(rgb, faces, specs)
    for vessel, face in faces.items():
        if face.sum() > 400:
            yield from _alone_frames(rgb, face, specs[vessel], rng)


def true_face(classes: NDArray[np.uint8], own: NDArray[np.bool_], spec: VesselSpec) -> NDArray[np.bool_]:
    """Where a vessel's face lies in a photo (rows, columns): its surface, and what of the label stands on it."""
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
    rgb: NDArray[np.uint8], faces: dict[str, NDArray[np.bool_]], specs: dict[str, VesselSpec]
) -> Iterator[FrameExample]:
    grey = grey_of(rgb)
    labels = [label for label in find_labels(grey, ExpectedLabels(PhotoContext(specs))) if label.text in faces]
    labels = [settle_label(grey, label, label_geometry(specs[label.text or ""])) for label in labels]
    for label in labels:
        spec = specs[label.text or ""]
        white = white_at_label(rgb, label, label_geometry(spec))
        if white is not None:
            frame = labelled_frame(spec, label, _direction(labels))
            sides = usual_sides(spec)
            yield _example(rgb, faces[spec.id], frame, white, sides, spec, label)


def _direction(labels: list[Label]) -> float:
    return float(np.median([label.angle for label in labels]))


def _alone_frames(
    rgb: NDArray[np.uint8], face: NDArray[np.bool_], spec: VesselSpec, rng: Rng
) -> Iterator[FrameExample]:
    """The part of a photo around a vessel, as if it were the whole photo; and its frame as first found there."""
    rows, columns = np.nonzero(face)
    height = np.ptp(rows) / rng.uniform(*_ALONE_SHARE)
    width = min(height * rng.uniform(0.7, 1.4), face.shape[1])
    height = min(height, face.shape[0])
    top = int(np.clip((rows.min() + rows.max() - height) / 2 + rng.normal(0, 0.06) * height, 0, face.shape[0] - height))
    left = int(
        np.clip((columns.min() + columns.max() - width) / 2 + rng.normal(0, 0.06) * width, 0, face.shape[1] - width)
    )
    part = (slice(top, top + int(height)), slice(left, left + int(width)))
    twice = (2 * round(ALONE_ROWS * width / height), 2 * ALONE_ROWS)
    small = np.asarray(cv2.resize(rgb[part], twice, interpolation=cv2.INTER_AREA), np.uint8)
    inside = cv2.resize(face[part].astype(np.uint8) * 255, twice, interpolation=cv2.INTER_AREA) > 127
    light = lit(small, guessed_white(small.reshape(-1, 3))).light()
    yield FrameExample(
        "alone", light.astype(np.float16), _masks(inside, None, None), alone_sides(spec, (ALONE_ROWS, twice[0] // 2))
    )
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
    masks = _masks(inside, label and label_mask(twice, spec, label), twice.inside_photo(*face.shape))
    sides = tuple(side * scale for side in sides_mm)
    group = "alone" if label is None else kind.label_place
    return FrameExample(group, light.astype(np.float16), masks, sides)  # type: ignore[arg-type]


def _masks(
    face: NDArray[np.bool_], label: NDArray[np.bool_] | None, seen: NDArray[np.bool_] | None
) -> NDArray[np.uint8]:
    planes = (face, np.zeros_like(face) if label is None else label, np.ones_like(face) if seen is None else seen)
    return np.dstack(planes).astype(np.uint8) * 255
