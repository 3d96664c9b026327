"""Where a vessel's face frame lies in the photo, and the usual position of its face, from its record and label."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import LABELS, LabelGeometry, vessel_kinds
from vision.face.frame import Frame, frame_at
from vision.label import Label
from vision.records import VesselSpec, kind_of

#: A tray whose shorter axis has at least this share of its mean scale counts as seen square on.
_SQUARE_ON = 0.94
# Distance of a label below the top of the substrate, and of a vessel above its label's upper edge, mm (common
# practice, no source).
_LABEL_BELOW_TOP_MM, _ABOVE_LABEL_MM = 49.0, 15.0
# Frames for a label on the face, for a dish and for a jar: left, top, width, height as shares of the usual face,
# relative to the label's centre (on the face) or to the middle of its upper edge.
_FRAMES = {
    "on_face": (-0.78, -0.42, 1.56, 1.52),
    "dish": (-0.8, -1.35, 1.6, 1.38),
    "above": (-1.15, -1.7, 2.3, 1.74),
}
#: Beyond this share of its half width (sin 60) a round wall is inclined by more than 60 degrees and hard to see.
STEEP_SHARE = 0.866


@dataclass(frozen=True, eq=False)
class FoundFace:
    """A face in a photo.

    frame: its face frame. inside: bool, True on the face's surface without the label. label: bool, True on the label.
    confidence: of the outline, 0-1.
    """

    frame: Frame
    inside: NDArray[np.bool_]
    label: NDArray[np.bool_]
    confidence: float


def steep_percent(spec: VesselSpec, outline: NDArray[np.bool_], inside: NDArray[np.bool_]) -> float | None:
    """Percent of a round wall's visible face that is inclined by more than 60 degrees to the view; None if flat.

    The wall is treated as a cylinder seen square on: in each row of the frame, that part lies beyond sin 60 = 0.866 of
    the half width. outline: the whole face, with parts that are cut off or under the label. inside: the measured part.
    """
    if not vessel_kinds()[spec.kind].round_walls or not inside.any():
        return None
    rows = np.flatnonzero(outline.any(axis=1))
    left = outline[rows].argmax(axis=1)
    right = outline.shape[1] - 1 - outline[rows, ::-1].argmax(axis=1)
    middle, half = (left + right) / 2, (right - left + 1) / 2
    across = np.abs(np.arange(outline.shape[1]) - middle[:, None]) / half[:, None]
    steep = inside[rows] & (across > STEEP_SHARE)
    return float(100.0 * steep.sum() / inside.sum())


def label_geometry(spec: VesselSpec) -> LabelGeometry:
    """Geometry of the vessel's label."""
    return LABELS[spec.label_size or vessel_kinds()[spec.kind].label_size]


def labelled_frame(spec: VesselSpec, label: Label, angle: float) -> Frame:
    """The face frame of a labelled vessel; angle: common direction of the photo's labels, radians."""
    kind, geometry = kind_of(spec), label_geometry(spec)
    share_down = 0.5 if kind.label_place == "on_face" else 0.0
    place = np.array([[[geometry.width_mm / 2, geometry.height_mm * share_down]]])
    anchor = cv2.perspectiveTransform(place, label.to_photo(geometry))[0, 0]
    return frame_at(anchor, angle, label.px_per_mm(geometry), frame_mm(spec), kind.face_px_per_mm)


def frame_mm(spec: VesselSpec) -> tuple[float, float, float, float]:
    """Left, top, width and height of a labelled vessel's frame, mm relative to its label."""
    kind = kind_of(spec)
    shape = "on_face" if kind.label_place == "on_face" else "dish" if vessel_kinds()[spec.kind].is_dish else "above"
    left, top, width, height = _FRAMES[shape]
    return (
        left * kind.face_width_mm, top * kind.face_height_mm, width * kind.face_width_mm, height * kind.face_height_mm
    )  # fmt: skip


def usual_sides(spec: VesselSpec) -> tuple[float, float, float, float]:
    """Usual left, top, right and bottom of the face of a labelled upright vessel, mm in its frame."""
    kind = kind_of(spec)
    left, top, _, _ = frame_mm(spec)
    upper = -_LABEL_BELOW_TOP_MM if kind.label_place == "on_face" else -_ABOVE_LABEL_MM - kind.face_height_mm
    half = kind.face_width_mm / 2
    return -left - half, upper - top, -left + half, upper - top + kind.face_height_mm


def label_mask(frame: Frame, spec: VesselSpec, label: Label) -> NDArray[np.bool_]:
    """Mask of the sticker in the frame."""
    geometry = label_geometry(spec)
    corners = np.array([[[0, 0], [1, 0], [1, 1], [0, 1]]], np.float64) * [geometry.width_mm, geometry.height_mm]
    there = cv2.perspectiveTransform(cv2.perspectiveTransform(corners, label.to_photo(geometry)), frame.from_photo)
    mask = np.zeros((frame.rows, frame.columns), np.uint8)
    cv2.fillPoly(mask, [np.round(there[0]).astype(np.int32)], 1)
    return mask.astype(bool)


def tray_tilt(spec: VesselSpec, label: Label, frame: Frame) -> NDArray[np.float64] | None:
    """Foreshortening (2 x 2) of the tray under a label, in the frame; None if it is seen about square on.

    The corners of a small code are only accurate to some per cent, so a slight tilt is ignored here.
    """
    geometry = label_geometry(spec)
    to_frame = frame.from_photo @ label.to_photo(geometry)
    middle = np.array([geometry.width_mm / 2, 0.0, 1.0])
    at = to_frame @ middle
    slope = (to_frame[:2, :2] - np.outer(at[:2] / at[2], to_frame[2, :2])) / at[2]
    turn, sizes, turned = np.linalg.svd(slope / np.sqrt(abs(np.linalg.det(slope))))
    if sizes[1] > _SQUARE_ON:
        return None
    stretch = turn @ np.diag(sizes / sizes[0] if sizes[0] > 0 else sizes) @ turn.T
    del turned
    return np.asarray(stretch * sizes[0], np.float64)
