"""Turn a face into a reading: segment it, measure the areas, and list the suspects."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import vessel_kinds
from vision.face import Frame, frame_of
from vision.pixels import LinearPicture, box_of
from vision.records import (
    BARE,
    LABEL,
    MYCELIUM,
    SUSPECT,
    Box,
    Face,
    MeasuredVessel,
    Reading,
    Suspect,
    VesselSpec,
)
from vision.surface.bare_substrate import Baseline
from vision.surface.segment import FaceSegmentation, coverage, segment_face

_MUCH_HIDDEN_PERCENT = 15.0
#: Width of the strip along an outline whose class is copied from further inside.
_RIM_MM, _RIM_PLATE_MM = 3.0, 1.5
#: A part of a class map belongs to a suspect if their boxes overlap by more than this share of the smaller box.
_MIN_OVERLAP = 0.5
#: Fragments within this distance belong to the patch.
_BESIDE_MM = 5.0
#: A slightly blurred picture widens the interval by this many points in total.
_SOFT_POINTS = 6.0


def segment_within(
    spec: VesselSpec,
    face: Face,
    scene: LinearPicture,
    inside: NDArray[np.bool_],
    *,
    baseline: Baseline | None = None,
) -> FaceSegmentation:
    """Segment a face; its outermost strip takes the class of the nearest points further inside.

    scene: picture of the face's frame. inside: True on the surface, without the label.
    """
    part = box_of(inside)
    seen = segment_face(
        scene.light(part), inside[part], face.px_per_mm, kind=spec.kind, baseline=baseline, referenced=face.labelled
    )
    rim_px = max(1, round((_RIM_PLATE_MM if vessel_kinds()[spec.kind].is_dish else _RIM_MM) * face.px_per_mm))
    mycelium, veiled = np.zeros(inside.shape, np.float32), np.zeros(inside.shape, bool)
    mycelium[part], veiled[part] = _copy_from_inside(seen.mycelium, inside[part], rim_px), seen.veiled
    suspects = tuple(replace(one, mask=_placed(one.mask, part, inside.shape)) for one in seen.suspects)
    return replace(seen, mycelium=mycelium, veiled=veiled, suspects=suspects)


def _placed(mask: NDArray[np.bool_], part: tuple[slice, slice], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """A mask of a part of a face in the coordinates of the whole face."""
    whole = np.zeros(shape, bool)
    whole[part] = mask
    return whole


def fill_reading(
    reading: Reading,
    face: Face,
    seen: FaceSegmentation,
    inside: NDArray[np.bool_],
    label: NDArray[np.bool_],
    *,
    cut_share: float = 0.0,
    alone: bool = True,
) -> MeasuredVessel:
    """The reading and the face's class map, filled in from a segmentation.

    cut_share: share of the face, 0-1, outside the photo; widens the bounds. alone: whether only this photo was used.
    """
    part = box_of(inside)
    mycelium = seen.mycelium[part]
    area = coverage(replace(seen, mycelium=mycelium, veiled=seen.veiled[part]), inside[part])
    classes = inside * np.uint8(BARE)
    _paint(classes[part], inside[part] & (mycelium > 0.5), MYCELIUM)
    for suspect in seen.suspects:
        _paint(classes, suspect.mask & inside, SUSPECT)
    _paint(classes, label, LABEL)
    frame = frame_of(face.to_photo, classes, face.px_per_mm)
    suspects = tuple(
        Suspect(one.colour, round(one.area_cm2, 2), mask_box(one.mask, frame), round(one.score, 3))
        for one in seen.suspects
    )
    widen = 100.0 * cut_share + (_SOFT_POINTS if "soft" in reading.flags else 0.0)
    hidden = min(100.0, area.hidden_percent + 100.0 * cut_share)
    flags = reading.flags + (("much_hidden",) if hidden > _MUCH_HIDDEN_PERCENT else ())
    filled = replace(
        reading,
        percent=round(area.percent, 2),
        percent_low=round(max(0.0, area.low - widen / 2), 2),
        percent_high=round(min(100.0, area.high + widen / 2), 2),
        hidden_percent=round(hidden, 2),
        suspects=suspects,
        flags=flags,
    )
    kept_alone = classes if alone else face.classes_alone
    return MeasuredVessel(filled, replace(face, classes=classes, classes_alone=kept_alone))


def _paint(classes: NDArray[np.uint8], where: NDArray[np.bool_], value: int) -> None:
    """Write one class into a map, in a tenth of the time of ``classes[where] = value``."""
    cv2.copyTo(np.full_like(classes, value), where.view(np.uint8), classes)


def _copy_from_inside(mycelium: NDArray[np.float32], inside: NDArray[np.bool_], rim_px: int) -> NDArray[np.float32]:
    """The probability map with the strips along the outline and the label replaced by the nearest point further inside.

    The outline is accurate to about a millimetre, so points on it may be wall or sticker.
    """
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * rim_px + 1, 2 * rim_px + 1))
    core = cv2.erode(inside.astype(np.uint8), disc, borderValue=0)
    if not core.any():
        return mycelium
    _, nearest = cv2.distanceTransformWithLabels(1 - core, cv2.DIST_L2, cv2.DIST_MASK_3, labelType=cv2.DIST_LABEL_PIXEL)
    # OpenCV numbers the pixels of the core row by row, starting at 1.
    values = mycelium[core > 0]
    from_within = mycelium * inside
    rim = inside > core
    from_within[rim] = values[nearest[rim] - 1]
    return from_within


def mask_box(mask: NDArray[np.bool_], frame: Frame, corner: tuple[int, int] = (0, 0)) -> Box:
    """Left, top, width, height in photo px of a mask in the frame; corner: frame coordinates of its first pixel."""
    if not mask.any():
        return (0, 0, 0, 0)
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE, offset=corner)
    edge = np.concatenate(contours).astype(np.float64)
    points = cv2.perspectiveTransform(edge, frame.to_photo)[:, 0]
    low, high = points.min(axis=0), points.max(axis=0) + 1
    return round(low[0]), round(low[1]), round(high[0] - low[0]), round(high[1] - low[1])


def suspect_mask(suspect: Suspect, face: Face, classes: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Mask (H, W) of a suspect on a class map of the face; empty if it is not on the map."""
    frame = frame_of(face.to_photo, classes, face.px_per_mm)
    mask = (classes == SUSPECT).astype(np.uint8)
    count, labels, found, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    shared = {}
    for label in range(1, count):
        left, top, width, height = (int(value) for value in found[label, :4])
        part = labels[top : top + height, left : left + width] == label
        shared[label] = _overlap(mask_box(part, frame, (left, top)), suspect.box)
    own = [label for label, (_, of_smaller) in shared.items() if of_smaller > _MIN_OVERLAP]
    if not own:
        return np.zeros(classes.shape, bool)
    patch = max(own, key=lambda label: shared[label][0])
    return np.isin(labels, [patch, *_fragments_beside(patch, labels, found, face.px_per_mm)])


def _fragments_beside(
    patch: int, labels: NDArray[np.int32], found: NDArray[np.int32], px_per_mm: float
) -> NDArray[np.intp]:
    """Labels of the parts that lie entirely within ``_BESIDE_MM`` of a patch: fragments of its edge.

    found: left, top, width, height and area of each part; index 0 is the background.
    """
    reach = _BESIDE_MM * px_per_mm
    margin = int(np.ceil(reach)) + 1
    left, top, width, height, _ = (int(value) for value in found[patch])
    around = labels[max(0, top - margin) : top + height + margin, max(0, left - margin) : left + width + margin]
    away = cv2.distanceTransform((around != patch).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_3)
    beside = np.bincount(around[away <= reach], minlength=len(found))
    beside[0] = 0
    return np.flatnonzero((beside > 0) & (beside == found[:, cv2.CC_STAT_AREA]))


def _overlap(one: Box, other: Box) -> tuple[float, float]:
    """Overlap of two boxes: intersection over union, and intersection over the smaller box."""
    across = min(one[0] + one[2], other[0] + other[2]) - max(one[0], other[0])
    down = min(one[1] + one[3], other[1] + other[3]) - max(one[1], other[1])
    common = max(across, 0) * max(down, 0)
    areas = one[2] * one[3], other[2] * other[3]
    return common / max(1, sum(areas) - common), common / max(1, min(areas))
