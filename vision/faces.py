"""Where a vessel's face lies in a photo: from its label and kind, refined on the picture.

A bag's or block's face surrounds its label; a jar stands above its label, a dish lies above it; an unlabelled
vessel is the large upright thing near the middle of its picture.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import LABELS, LabelGeometry, VesselKind, vessel_kinds
from vision.frame import Frame, frame_at
from vision.labels import Label
from vision.light import to_lab
from vision.outline import OutlineGuess, Sight, fill, refine_outline, rounded_rectangle_radii
from vision.records import VesselSpec
from vision.rectangle import Rectangle, Usual, long_edges
from vision.ring import circle_directions, find_ring

#: Scale at which outlines are sought, px per mm.
SEEK_PX_PER_MM = 1.0
RING_PX_PER_MM = 2.0

# Where a label stands on a bag's face (common practice, no source; spreads from the development scenes), mm.
_LABEL_BELOW_TOP_MM = 49.0
_BAG_CORNER_MM = 30.0
_BAG_SPREAD_SIDES, _BAG_SPREAD_ENDS = 0.16, 0.10
#: A bag bulges in and out: its mean width and height are this share of the largest.
_BAG_MEAN_SHARE = 0.95
#: The film above the substrate begins about here above the label's centre, and the top of the search is further up.
_FILM_FROM_MM, _FILM_SURE_MM = 67.0, 81.0
# Where a jar or dish lies above its label's upper edge, mm: gap and how far it may be off.
_JAR_GAP_MM, _JAR_OFF_MM = 15.0, 25.0
_DISH_GAP_MM, _DISH_OFF_MM = 6.0, 8.0
_RING_SPREAD = 0.03
_JAR_CORNER_MM = 6.0
#: A tray whose shorter axis is seen at this share of its mean scale or more counts as seen square on.
_SQUARE_ON = 0.94


@dataclass(frozen=True, eq=False)
class FoundFace:
    """A face in a photo.

    frame: its face frame. inside: bool, True on the face's surface, label left out. label: bool, True on the label.
    sureness: how well the outline agrees with what is usual, 0-1.
    """

    frame: Frame
    inside: NDArray[np.bool_]
    label: NDArray[np.bool_]
    sureness: float


def kind_of(spec: VesselSpec) -> VesselKind:
    """The vessel's kind with the sizes of its own record in place of the usual ones."""
    kind = vessel_kinds()[spec.kind]
    width = spec.diameter_mm or spec.face_width_mm or kind.face_width_mm
    height = spec.face_height_mm or (spec.diameter_mm if spec.kind == "plate" else None) or kind.face_height_mm
    return replace(kind, face_width_mm=width, face_height_mm=height, label_place=spec.label_place or kind.label_place)


def label_geometry(spec: VesselSpec) -> LabelGeometry:
    """Geometry of the label that the vessel bears."""
    return LABELS[spec.label_size or vessel_kinds()[spec.kind].label_size]


def labelled_frame(spec: VesselSpec, label: Label, angle: float) -> Frame:
    """The face frame of a labelled vessel; angle: the upright direction of the photo's labels, radians."""
    kind, geometry = kind_of(spec), label_geometry(spec)
    scale = label.px_per_mm(geometry)
    width, height = kind.face_width_mm, kind.face_height_mm
    if kind.label_place == "on_face":
        box, anchor_mm = (-0.78 * width, -0.42 * height, 1.56 * width, 1.52 * height), 0.5
    elif spec.kind == "plate":
        box, anchor_mm = (-0.8 * width, -1.35 * height, 1.6 * width, 1.38 * height), 0.0
    else:
        box, anchor_mm = (-1.15 * width, -1.7 * height, 2.3 * width, 1.74 * height), 0.0
    place = np.array([[[geometry.width_mm / 2, geometry.height_mm * anchor_mm]]])
    anchor = cv2.perspectiveTransform(place, label.to_photo(geometry))[0, 0]
    return frame_at(anchor, angle, scale, box, kind.face_px_per_mm)


def label_mask(frame: Frame, spec: VesselSpec, label: Label) -> NDArray[np.bool_]:
    """True where the sticker lies in the frame."""
    geometry = label_geometry(spec)
    corners = np.array([[[0, 0], [1, 0], [1, 1], [0, 1]]], np.float64) * [geometry.width_mm, geometry.height_mm]
    there = cv2.perspectiveTransform(cv2.perspectiveTransform(corners, label.to_photo(geometry)), frame.from_photo)
    mask = np.zeros((frame.rows, frame.columns), np.uint8)
    cv2.fillPoly(mask, [np.round(there[0]).astype(np.int32)], 1)
    return mask.astype(bool)


def find_on_face(
    spec: VesselSpec, sights: Sequence[tuple[NDArray[np.float32], NDArray[np.bool_]]], label: NDArray[np.bool_], px_per_mm: float
) -> NDArray[np.bool_]:
    """Mask of a face that bears its label, common to several sights of it in the same frame.

    sights: for each the linear light (rows, columns, 3) and True where the frame's pixel lies in the photo.
    """
    kind = kind_of(spec)
    small = [(_reduced(light, SEEK_PX_PER_MM / px_per_mm), _reduced_mask(seen, SEEK_PX_PER_MM / px_per_mm)) for light, seen in sights]
    shape = small[0][0].shape[:2]
    marker = _reduced_mask(label, SEEK_PX_PER_MM / px_per_mm)
    rows, columns = np.nonzero(marker)
    label_row, label_column = float(rows.mean()), float(columns.mean())
    looks = [_bag_sight(light, seen, label_row, label_column, kind.face_width_mm) for light, seen in small]
    width, height = _BAG_MEAN_SHARE * kind.face_width_mm, _BAG_MEAN_SHARE * kind.face_height_mm
    radii = rounded_rectangle_radii(width, height, _BAG_CORNER_MM)
    centre = (label_row + height / 2 - _LABEL_BELOW_TOP_MM, label_column)
    spread = _spread(_BAG_SPREAD_SIDES, _BAG_SPREAD_ENDS)
    for narrower in (1.0, 0.5, 0.5):
        radii = refine_outline(looks, OutlineGuess(radii, centre, spread * narrower))
        mask = fill(radii, centre, shape)
        radii, centre = _fitted_rectangle(mask, _BAG_CORNER_MM)
    return _enlarged_mask(mask, sights[0][1].shape)


def _spread(sides: float, ends: float) -> NDArray[np.float64]:
    angles = np.arange(240) * (2 * np.pi / 240)
    return np.where(np.abs(np.cos(angles)) > 0.75, sides, ends)


def _bag_sight(
    light: NDArray[np.float32], seen: NDArray[np.bool_], label_row: float, label_column: float, width_mm: float
) -> Sight:
    rows, columns = np.mgrid[: light.shape[0], : light.shape[1]]
    known = np.zeros(light.shape[:2], np.int8)
    known[(np.abs(columns - label_column) < 34) & (np.abs(rows - label_row) < 24)] = 1
    known[rows < label_row - _FILM_SURE_MM] = -1
    known[~seen] = -1
    film = (rows < label_row - _FILM_FROM_MM) & (np.abs(columns - label_column) < width_mm / 2)
    return Sight(to_lab(light), known, film)


def _fitted_rectangle(mask: NDArray[np.bool_], corner: float) -> tuple[NDArray[np.float64], tuple[float, float]]:
    """Radii of the rounded rectangle with the mask's centre, spread and area, and its centre."""
    rows, columns = np.nonzero(mask)
    centre = (float(rows.mean()), float(columns.mean()))
    radii = rounded_rectangle_radii(float(np.sqrt(12 * columns.var())), float(np.sqrt(12 * rows.var())), corner)
    return radii * np.sqrt(mask.sum() / max(1, fill(radii, centre, mask.shape).sum())), centre


def find_jar(
    spec: VesselSpec, light: NDArray[np.float32], px_per_mm: float, *, size_spread: float = 1.0
) -> tuple[NDArray[np.bool_], float, Rectangle]:
    """Mask of a jar's or tube's face above its label, how sure it is (0-1), and the rectangle in mm of the frame.

    size_spread: 1 for a usual size, smaller where the size is known from other photos.
    """
    kind = kind_of(spec)
    lab = to_lab(_reduced(light, SEEK_PX_PER_MM / px_per_mm))
    width, height = kind.face_width_mm, kind.face_height_mm
    across = Usual(lab.shape[1] / 2, width, 0.17 * 85 * (0.5 + width / 170), size_spread * 0.16 * width)
    bottom = lab.shape[0] - 0.04 * height - _JAR_GAP_MM
    down = Usual(bottom - height / 2, height, _JAR_OFF_MM, size_spread * 0.18 * height)
    found = long_edges(lab, across, down)
    return _jar_mask(found, light.shape[:2], px_per_mm), float(np.clip(found.score / 24.0, 0, 1)), found


def _jar_mask(found: Rectangle, shape: tuple[int, int], px_per_mm: float) -> NDArray[np.bool_]:
    """The rectangle with the lower corners rounded, as a jar's are."""
    scale = px_per_mm / SEEK_PX_PER_MM
    left, top, right, bottom = (edge * scale for edge in (found.left, found.top, found.right, found.bottom))
    corner = _JAR_CORNER_MM * px_per_mm
    mask = np.zeros(shape, np.uint8)
    cv2.rectangle(mask, (round(left), round(top)), (round(right), round(bottom - corner)), 1, -1)
    cv2.rectangle(mask, (round(left + corner), round(bottom - corner)), (round(right - corner), round(bottom)), 1, -1)
    for column in (left + corner, right - corner):
        cv2.circle(mask, (round(column), round(bottom - corner)), round(corner), 1, -1)
    return mask.astype(bool)


def find_dish(
    spec: VesselSpec, light: NDArray[np.float32], px_per_mm: float, *, tilt: NDArray[np.float64] | None = None
) -> tuple[NDArray[np.bool_], float]:
    """Mask of a dish's agar above its label, and how sure it is (0-1).

    tilt: 2 x 2 stretch by which a circle on the tray is seen in the frame; None is square on.
    """
    kind = kind_of(spec)
    lab = to_lab(_reduced(light, RING_PX_PER_MM / px_per_mm))
    radius = kind.face_width_mm / 2
    bottom_mm = lab.shape[0] / RING_PX_PER_MM - 0.03 * kind.face_height_mm
    centre = ((bottom_mm - _DISH_GAP_MM - radius) * RING_PX_PER_MM, lab.shape[1] / 2)
    directions = circle_directions(tilt)
    ring = find_ring(
        lab,
        centre,
        radius * RING_PX_PER_MM,
        centre_spread=_DISH_OFF_MM * RING_PX_PER_MM,
        radius_spread=_RING_SPREAD * radius * RING_PX_PER_MM,
        directions=directions,
    )
    scale = px_per_mm / RING_PX_PER_MM
    points = np.array([ring.centre[1], ring.centre[0]]) + ring.radius * circle_directions(tilt, 360)
    mask = np.zeros(light.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round((points * scale + (scale - 1) / 2) * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(bool), ring.strength


def find_alone(spec: VesselSpec, rgb_light: NDArray[np.float32]) -> tuple[NDArray[np.bool_], float]:
    """Mask of the one upright vessel near the middle of a small picture of linear light, and how sure it is (0-1)."""
    lab = to_lab(rgb_light)
    rows, columns = lab.shape[:2]
    kind = kind_of(spec)
    shape_ratio = kind.face_width_mm / kind.face_height_mm
    spread = cv2.blur(lab[..., 0] ** 2, (5, 5)) - cv2.blur(lab[..., 0], (5, 5)) ** 2
    plane = np.dstack([lab, 2 * np.sqrt(np.maximum(spread, 0))]).astype(np.float32)
    found = max(
        (
            long_edges(
                plane,
                Usual(columns / 2, size * rows * shape_ratio * wider, 0.12 * columns, 0.08 * rows),
                Usual(0.53 * rows, size * rows, 0.12 * rows, 0.08 * rows),
            )
            for size in (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
            for wider in (0.8, 1.0, 1.25)
        ),
        key=lambda one: one.score,
    )
    width, height = found.right - found.left, found.bottom - found.top
    centre = ((found.top + found.bottom) / 2, (found.left + found.right) / 2)
    corner = 0.15 * width if spec.kind != "jar" else 0.05 * width
    radii = rounded_rectangle_radii(width, height, corner)
    grid_rows, grid_columns = np.mgrid[:rows, :columns]
    nothing = np.zeros((rows, columns), np.int8)
    for spread_share in (0.12, 0.08, 0.06):
        above = (grid_rows < centre[0] - height / 2 - 4) & (grid_rows > centre[0] - height)
        film = above & (np.abs(grid_columns - centre[1]) < width / 2)
        guess = OutlineGuess(radii, centre, np.full(len(radii), spread_share))
        mask = fill(refine_outline([Sight(lab, nothing, film)], guess, rounds=1), centre, (rows, columns))
        radii, centre = _fitted_rectangle(mask, corner)
    return mask, float(np.clip(found.score / 32.0, 0, 1))


def find_alone_dish(spec: VesselSpec, rgb_light: NDArray[np.float32]) -> tuple[NDArray[np.bool_], float]:
    """Mask of the one dish near the middle of a small picture of linear light, and how sure it is (0-1)."""
    del spec  # a dish without a label has no known scale
    lab = to_lab(rgb_light)
    rows, columns = lab.shape[:2]
    rings = [
        find_ring(
            lab,
            (rows / 2, columns / 2),
            share * rows,
            centre_spread=0.1 * rows,
            radius_spread=0.04 * rows,
            directions=circle_directions(),
        )
        for share in (0.22, 0.30, 0.38, 0.45)
    ]
    ring = max(rings, key=lambda one: one.strength)
    mask = np.zeros((rows, columns), np.uint8)
    cv2.circle(mask, (round(ring.centre[1]), round(ring.centre[0])), round(ring.radius), 1, -1)
    return mask.astype(bool), ring.strength


def tray_tilt(spec: VesselSpec, label: Label, frame: Frame) -> NDArray[np.float64] | None:
    """Stretch (2 x 2) by which the tray under a label is seen, in the frame; None where it is about square on.

    Corners of a small code are only good to some per cent, so a slight tilt is left to the picture itself.
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


def _reduced(image: NDArray[np.float32], factor: float) -> NDArray[np.float32]:
    size = (max(1, round(image.shape[1] * factor)), max(1, round(image.shape[0] * factor)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.float32)


def _reduced_mask(mask: NDArray[np.bool_], factor: float) -> NDArray[np.bool_]:
    return _reduced(mask.astype(np.float32), factor) > 0.5


def _enlarged_mask(mask: NDArray[np.bool_], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    soft = cv2.resize(mask.astype(np.float32), (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(soft > 0.5)
