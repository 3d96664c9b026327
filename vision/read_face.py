"""A face in its frame becomes a reading: segmented, its area shared out, its suspects named."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.baseline import Baseline
from vision.frame import Frame, frame_of
from vision.records import BARE, LABEL, MYCELIUM, SUSPECT, Box, Face, MeasuredVessel, Reading, Suspect, VesselSpec
from vision.segment import coverage, segment_face

_MUCH_HIDDEN_PERCENT = 15.0


def read_face(
    spec: VesselSpec,
    reading: Reading,
    face: Face,
    light: NDArray[np.float32],
    inside: NDArray[np.bool_],
    label: NDArray[np.bool_],
    *,
    baseline: Baseline | None = None,
    cut_share: float = 0.0,
    alone: bool = True,
) -> MeasuredVessel:
    """Fill in a reading and its face's class map.

    light: linear light (rows, columns, 3) of the face's frame. inside: True on the surface, label left out.
    cut_share: share of the face, 0-1, that lies outside the photo; the bounds are widened for it.
    alone: whether nothing but this photo is used.
    """
    seen = segment_face(light, inside, face.px_per_mm, kind=spec.kind, baseline=baseline, referenced=face.labelled)
    area = coverage(seen, inside)
    classes = np.zeros(inside.shape, np.uint8)
    classes[inside] = BARE
    classes[inside & (seen.mycelium > 0.5)] = MYCELIUM
    for anomaly in seen.anomalies:
        classes[anomaly.mask & inside] = SUSPECT
    classes[label] = LABEL
    frame = frame_of(face.to_photo, classes, face.px_per_mm)
    suspects = tuple(
        Suspect(one.colour, round(one.area_cm2, 2), mask_box(one.mask, frame), round(one.score, 3))
        for one in seen.anomalies
    )
    widen = 100.0 * cut_share
    hidden = min(100.0, area.hidden_percent + widen)
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


def mask_box(mask: NDArray[np.bool_], frame: Frame) -> Box:
    """Left, top, width, height in photo px of a mask in the frame."""
    if not mask.any():
        return (0, 0, 0, 0)
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    edge = np.concatenate(contours).astype(np.float64)
    points = cv2.perspectiveTransform(edge, frame.to_photo)[:, 0]
    low, high = points.min(axis=0), points.max(axis=0) + 1
    return round(low[0]), round(low[1]), round(high[0] - low[0]), round(high[1] - low[1])
