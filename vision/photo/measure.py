"""Measure one photo: a pure function from a picture and its context to readings with their faces."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import Side, vessel_kinds
from vision.face import (
    ALONE_ROWS,
    FoundFace,
    Frame,
    Upright,
    find_dish,
    find_unlabelled,
    find_upright,
    frame_around,
    label_geometry,
    label_mask,
    labelled_frame,
    picture_fault,
    refine_unlabelled,
    tray_tilt,
    usual_sides,
)
from vision.label import ExpectedLabels, Label, find_labels, settle_label, spec_of, unknown_label_reason, white_at_label
from vision.photo.label_size import is_of_usual_size, label_may_be_small
from vision.photo.measure_face import MIN_CONFIDENCE, MIN_FACE_PX, NO_VESSEL_FOUND, guessed_white, measure_face
from vision.pixels import apply_profile, grey_of, lit
from vision.records import Box, MeasuredVessel, PhotoContext, Reading, VesselSpec

#: Pictures that are smaller, or more elongated, are rejected: enlarging them to search for a vessel would fill memory.
_MIN_SIDE_PX, _MAX_ASPECT = 16, 20


def measure_photo(rgb: NDArray[np.uint8], context: PhotoContext) -> tuple[MeasuredVessel, ...]:
    """One reading for each vessel, and each side of it, in a photo (uint8 RGB, rows, columns, 3).

    A vessel is identified by its label, by its region of the frame, or as the owner of the photo. A photo in which no
    vessel is found gives one record without a vessel, with the reason.
    """
    rgb = apply_profile(rgb, context.profile)
    grey = grey_of(rgb)
    labels = [_settled(grey, label, context) for label in find_labels(grey, ExpectedLabels(context))]
    angle = upright_angle(labels)
    measured = [_measure_label(rgb, label, angle, context) for label in labels]
    read = {(one.reading.vessel, one.reading.side) for one in measured}
    for named, box in context.regions.items():
        spec, side = spec_of(named, context)
        if spec is not None and (spec.id, side) not in read:
            measured.append(_on_side(_measure_region(rgb, spec, box), side))
    if not measured:
        measured.append(_measure_unlabelled(rgb, context))
    return tuple(_one_for_each(measured))


def _on_side(measured: MeasuredVessel, side: Side) -> MeasuredVessel:
    return replace(measured, reading=replace(measured.reading, side=side))


def _settled(grey: NDArray[np.uint8], label: Label, context: PhotoContext) -> Label:
    spec, _ = spec_of(label.text or "", context)
    return label if spec is None else settle_label(grey, label, label_geometry(spec))


def upright_angle(labels: list[Label]) -> float:
    """Median direction of the labels, radians."""
    if not labels:
        return 0.0
    turns = np.array([[np.cos(label.angle), np.sin(label.angle)] for label in labels])
    middle = np.median(turns, axis=0)
    return float(np.arctan2(middle[1], middle[0]))


def _one_for_each(measured: list[MeasuredVessel]) -> list[MeasuredVessel]:
    """One record per side of a vessel; if a label was found twice, the record with a reading."""
    kept: dict[object, MeasuredVessel] = {}
    for number, one in enumerate(measured):
        key: object = (one.reading.vessel, one.reading.side) if one.reading.vessel else number
        if key not in kept or (kept[key].reading.status != "ok" and one.reading.status == "ok"):
            kept[key] = one
    return list(kept.values())


@dataclass(frozen=True, eq=False)
class CutOut:
    """A labelled vessel's frame cut out of its photo. white: light of a matt white; seen: True inside the photo."""

    spec: VesselSpec
    label: Label
    frame: Frame
    picture: NDArray[np.uint8]
    seen: NDArray[np.bool_]
    white: NDArray[np.float64]
    sticker: NDArray[np.bool_]
    flags: tuple[str, ...]


def _measure_label(rgb: NDArray[np.uint8], label: Label, angle: float, context: PhotoContext) -> MeasuredVessel:
    """The measured vessel of one label."""
    box = _label_box(label, rgb.shape)
    if label.text is None:
        reason = "a label was found but cannot be read: move closer, hold still, avoid glare on the label"
        return MeasuredVessel(Reading(None, None, "unidentified", reason, face_box=box))
    spec, side = spec_of(label.text, context)
    if spec is None:
        reason = unknown_label_reason(label.text, context)
        return MeasuredVessel(Reading(label.text, None, "unidentified", reason, face_box=box))
    cut = cut_out(rgb, label, angle, spec)
    found = find_face(cut)
    if label_may_be_small(spec, found):
        smaller = cut_out(rgb, label, angle, replace(spec, label_size="small"))
        found_smaller = find_face(smaller)
        if is_of_usual_size(spec, found_smaller):
            cut, found = replace(smaller, flags=(*smaller.flags, "label_small")), found_smaller
    one = measure_face(cut.spec, found, cut.picture, cut.white, cut.seen, cut.flags, labelled=True)
    return _on_side(one, side)


def cut_out(rgb: NDArray[np.uint8], label: Label, angle: float, spec: VesselSpec) -> CutOut:
    """The frame of a label's vessel, cut out of its photo."""
    flags = ("label_matched",) if label.matched else ()
    frame = labelled_frame(spec, label, angle)
    picture = frame.cut(rgb)
    seen = frame.inside_photo(rgb.shape[0], rgb.shape[1])
    white = white_at_label(rgb, label, label_geometry(spec))
    if white is None:
        flags, white = (*flags, "light_guessed"), guessed_white(picture[seen])
    return CutOut(spec, label, frame, picture, seen, white, label_mask(frame, spec, label), flags)


def find_face(cut: CutOut) -> FoundFace:
    """Find the face in a labelled vessel's frame."""
    scene, scale = lit(cut.picture, cut.white), cut.frame.px_per_mm
    if vessel_kinds()[cut.spec.kind].is_dish:
        tilt = tray_tilt(cut.spec, cut.label, cut.frame)
        outline, confidence = find_dish(cut.spec, scene, cut.seen, scale, tilt=tilt)
    else:
        vessel = Upright(cut.spec, scene, cut.seen, cut.sticker, scale, usual_sides(cut.spec))
        outline, confidence = find_upright(vessel)
    return FoundFace(cut.frame, outline, cut.sticker, confidence)


def _measure_region(rgb: NDArray[np.uint8], spec: VesselSpec, box: Box) -> MeasuredVessel:
    left, top, width, height = box
    part = rgb[max(top, 0) : top + height, max(left, 0) : left + width]
    if min(part.shape[:2]) < MIN_FACE_PX:
        reason = "its region lies outside the picture: check the layout file"
        return MeasuredVessel(Reading(spec.id, spec.kind, "unusable", reason))
    return _measure_alone(rgb, spec, spec.id, (max(left, 0), max(top, 0), part.shape[1], part.shape[0]))


def _measure_unlabelled(rgb: NDArray[np.uint8], context: PhotoContext) -> MeasuredVessel:
    whole = (0, 0, rgb.shape[1], rgb.shape[0])
    spec, side = spec_of(context.owner or "", context)
    if context.owner is not None and spec is not None:
        return _on_side(_measure_alone(rgb, spec, spec.id, whole), side)
    if context.kind is not None:
        return _measure_alone(rgb, VesselSpec("", context.kind), None, whole)
    advice = "put labels on the vessels, name the folder after one that the farm knows, or say --kind"
    reason = f"no label found: {picture_fault(grey_of(rgb)) or advice}"
    return MeasuredVessel(Reading(None, None, "unidentified", reason))


def _measure_alone(rgb: NDArray[np.uint8], spec: VesselSpec, vessel: str | None, box: Box) -> MeasuredVessel:
    """Measure the single unlabelled vessel in a part of a photo."""
    left, top, width, height = box
    if min(width, height) < _MIN_SIDE_PX or max(width, height) > _MAX_ASPECT * min(width, height):
        reason = "retake: the picture is too small or too narrow to show a vessel"
        return MeasuredVessel(Reading(vessel, spec.kind, "unusable", reason, flags=("no_label",)))
    part = rgb[top : top + height, left : left + width]
    shrink = ALONE_ROWS / height
    twice = (2 * max(1, round(width * shrink)), 2 * ALONE_ROWS)
    small = np.asarray(cv2.resize(part, twice, interpolation=cv2.INTER_AREA), np.uint8)
    mask, confidence = find_unlabelled(spec, lit(small, guessed_white(small.reshape(-1, 3))))
    if confidence < MIN_CONFIDENCE or not mask.any():
        return MeasuredVessel(Reading(vessel, spec.kind, "unusable", NO_VESSEL_FOUND, flags=("no_label",)))
    rows, columns = np.nonzero(mask)
    width_px = float(np.sqrt(12 * columns.var())) / shrink
    middle = np.array([left + (columns.mean() + 0.5) / shrink, top + (rows.mean() + 0.5) / shrink])
    frame, usual_mm = frame_around(spec, middle, width_px)
    picture = frame.cut(rgb)
    seen = frame.inside_photo(rgb.shape[0], rgb.shape[1])
    to_small = np.array([[shrink, 0, -left * shrink], [0, shrink, -top * shrink], [0, 0, 1]], np.float64)
    warp = (to_small @ frame.to_photo)[:2]
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    outline = cv2.warpAffine(mask.astype(np.float32), warp, (frame.columns, frame.rows), flags=flags) > 0.5
    white = guessed_white(picture[outline & seen])
    outline = refine_unlabelled(spec, lit(picture, white), seen, usual_mm, frame.px_per_mm)
    found = FoundFace(frame, outline, np.zeros_like(outline), confidence)
    return measure_face(replace(spec, id=vessel or ""), found, picture, white, seen, ("no_label",), labelled=False)


def _label_box(label: Label, shape: tuple[int, ...]) -> Box:
    low = np.clip(label.code.min(axis=0), 0, [shape[1], shape[0]])
    high = np.clip(label.code.max(axis=0), 0, [shape[1], shape[0]])
    return round(low[0]), round(low[1]), round(high[0] - low[0]), round(high[1] - low[1])
