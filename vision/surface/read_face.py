"""A face in its frame becomes a reading: segmented, its area shared out, its suspects named."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face import Frame, frame_of
from vision.pixels import LitPicture
from vision.records import BARE, LABEL, MYCELIUM, SUSPECT, Box, Face, MeasuredVessel, Reading, Suspect, VesselSpec
from vision.surface.bare_substrate import Baseline
from vision.surface.segment import FaceSegmentation, coverage, segment_face
from vision.surface.suspects import Anomaly

_MUCH_HIDDEN_PERCENT = 15.0
#: Width of the strip along an outline whose class is taken from further in.
_RIM_MM, _RIM_PLATE_MM = 3.0, 1.5
#: A part of a class map is a suspect's if their boxes have more than this of the smaller one in common: on the map a
#: patch has its white edge with it.
_SAME_BOX = 0.5
#: Crumbs of a patch's edge lie within this of it.
_BESIDE_MM = 5.0
#: A picture that is not quite sharp widens the bounds by this many points in all.
_SOFT_POINTS = 6.0


def segment_within(
    spec: VesselSpec,
    face: Face,
    scene: LitPicture,
    inside: NDArray[np.bool_],
    *,
    baseline: Baseline | None = None,
) -> FaceSegmentation:
    """Segment a face; its outermost strip takes the class of what lies next to it further in.

    scene: the face's frame. inside: True on the surface, label left out.
    """
    part = _box_of(inside)
    seen = segment_face(
        scene.light(part), inside[part], face.px_per_mm, kind=spec.kind, baseline=baseline, referenced=face.labelled
    )
    rim_px = max(1, round((_RIM_PLATE_MM if spec.kind == "plate" else _RIM_MM) * face.px_per_mm))
    mycelium, veiled = np.zeros(inside.shape, np.float32), np.zeros(inside.shape, bool)
    mycelium[part], veiled[part] = _from_within(seen.mycelium, inside[part], rim_px), seen.veiled
    anomalies = tuple(_placed(one, part, inside.shape) for one in seen.anomalies)
    return replace(seen, mycelium=mycelium, veiled=veiled, anomalies=anomalies)


def _box_of(mask: NDArray[np.bool_]) -> tuple[slice, slice]:
    """Rows and columns of the box around a mask; one pixel where it is empty."""
    if not mask.any():
        return slice(0, 1), slice(0, 1)
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)


def _placed(anomaly: Anomaly, part: tuple[slice, slice], shape: tuple[int, ...]) -> Anomaly:
    """An anomaly of a part of a face, with its masks in the whole."""
    mask, taken = np.zeros(shape, bool), np.zeros(shape, bool)
    mask[part], taken[part] = anomaly.mask, anomaly.taken
    return replace(anomaly, mask=mask, taken=taken)


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
    """Fill in a reading and its face's class map from what was seen.

    cut_share: share of the face, 0-1, that lies outside the photo; the bounds are widened for it.
    alone: whether nothing but this photo was used.
    """
    area = coverage(seen, inside)
    classes = inside * np.uint8(BARE)
    classes[inside & (seen.mycelium > 0.5)] = MYCELIUM
    for anomaly in seen.anomalies:
        classes[anomaly.taken & inside] = SUSPECT
    classes[label] = LABEL
    frame = frame_of(face.to_photo, classes, face.px_per_mm)
    suspects = tuple(
        Suspect(one.colour, round(one.area_cm2, 2), mask_box(one.mask, frame), round(one.score, 3))
        for one in seen.anomalies
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


def _from_within(mycelium: NDArray[np.float32], inside: NDArray[np.bool_], rim_px: int) -> NDArray[np.float32]:
    """The probability map with its outermost strip, and a strip around the label, taken from the nearest point within.

    The outline is good to about a millimetre, so what lies on it may be wall or sticker.
    """
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * rim_px + 1, 2 * rim_px + 1))
    core = cv2.erode(inside.astype(np.uint8), disc, borderValue=0)
    if not core.any():
        return mycelium
    _, nearest = cv2.distanceTransformWithLabels(1 - core, cv2.DIST_L2, cv2.DIST_MASK_3, labelType=cv2.DIST_LABEL_PIXEL)
    # Pixels of the core are numbered row by row, from 1 on.
    values = mycelium[core > 0]
    from_within = mycelium * inside
    rim = inside > core
    from_within[rim] = values[nearest[rim] - 1]
    return from_within


def mask_box(mask: NDArray[np.bool_], frame: Frame, corner: tuple[int, int] = (0, 0)) -> Box:
    """Left, top, width, height in photo px of a mask in the frame; corner: where its first column and row lie there."""
    if not mask.any():
        return (0, 0, 0, 0)
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE, offset=corner)
    edge = np.concatenate(contours).astype(np.float64)
    points = cv2.perspectiveTransform(edge, frame.to_photo)[:, 0]
    low, high = points.min(axis=0), points.max(axis=0) + 1
    return round(low[0]), round(low[1]), round(high[0] - low[0]), round(high[1] - low[1])


def suspect_patch(suspect: Suspect, face: Face, classes: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Where a suspect lies on a class map (H, W) of the face, its white edge included; nowhere if it is not on it."""
    frame = frame_of(face.to_photo, classes, face.px_per_mm)
    mask = (classes == SUSPECT).astype(np.uint8)
    count, labels, found, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    shared = {}
    for label in range(1, count):
        left, top, width, height = (int(value) for value in found[label, :4])
        part = labels[top : top + height, left : left + width] == label
        shared[label] = _shared(mask_box(part, frame, (left, top)), suspect.box)
    own = [label for label, (_, of_smaller) in shared.items() if of_smaller > _SAME_BOX]
    if not own:
        return np.zeros(classes.shape, bool)
    patch = max(own, key=lambda label: shared[label][0])
    return np.isin(labels, [patch, *_crumbs_beside(patch, labels, found, face.px_per_mm)])


def _crumbs_beside(
    patch: int, labels: NDArray[np.int32], found: NDArray[np.int32], px_per_mm: float
) -> NDArray[np.intp]:
    """Labels of the parts that lie wholly close beside a patch: what its edge left behind.

    found: left, top, width, height and area of each part, the ground first.
    """
    reach = _BESIDE_MM * px_per_mm
    margin = int(np.ceil(reach)) + 1
    left, top, width, height, _ = (int(value) for value in found[patch])
    around = labels[max(0, top - margin) : top + height + margin, max(0, left - margin) : left + width + margin]
    away = cv2.distanceTransform((around != patch).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_3)
    beside = np.bincount(around[away <= reach], minlength=len(found))
    beside[0] = 0
    return np.flatnonzero((beside > 0) & (beside == found[:, cv2.CC_STAT_AREA]))


def _shared(one: Box, other: Box) -> tuple[float, float]:
    """What two boxes have in common, as a share of both together and of the smaller one."""
    across = min(one[0] + one[2], other[0] + other[2]) - max(one[0], other[0])
    down = min(one[1] + one[3], other[1] + other[3]) - max(one[1], other[1])
    common = max(across, 0) * max(down, 0)
    areas = one[2] * one[3], other[2] * other[3]
    return common / max(1, sum(areas) - common), common / max(1, min(areas))
