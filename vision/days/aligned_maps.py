"""Align the faces of a vessel on one grid, so that a point can be compared between days.

If the label is on the face, the frames are already aligned. Otherwise the bounding boxes of the faces are aligned,
which is accurate to a few millimetres but cannot detect that a vessel was rotated. A rotation shows as mycelium that
disappears; such days are not compared.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.days.monotone_growth import COMPARED_PX_PER_MM
from vision.pixels import reduced
from vision.records import BARE, LABEL, MYCELIUM, SUSPECT, Box, Face, VesselSpec, kind_of

#: Two days are not comparable if more than this share of the mycelium is missing on the later one.
_MOST_LOST = 0.08
_MIN_FACES = 2
#: The front is used only at this distance from the edge of the face, mm.
_FRONT_FROM_EDGE_MM = 6.0

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class ComparedFace:
    """One day on the common grid (rows, columns; ``px_per_mm`` pixels to the millimetre).

    bare, mycelium, suspect, label: bool, from the class map; outline: their union. picture: uint8, the part of the face
    that the grid covers, in the face's own pixels.
    """

    days: float
    phase: int
    bare: Mask
    mycelium: Mask
    suspect: Mask
    label: Mask
    picture: NDArray[np.uint8]
    px_per_mm: float
    to_photo: NDArray[np.float64]

    @property
    def outline(self) -> Mask:
        """Mask of the vessel."""
        return self.bare | self.mycelium | self.suspect | self.label

    @cached_property
    def lightness(self) -> NDArray[np.float32]:
        """CIELAB L of each point."""
        rgb = reduced(self.picture, self.bare.shape).astype(np.float32) / np.float32(255)
        return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)[..., 0], np.float32)

    @cached_property
    def front(self) -> Mask:
        """Mycelium next to bare surface, away from label, suspects and the edge of the face."""
        surface = (self.bare | self.mycelium).astype(np.uint8)
        free = cv2.erode(surface, disc(_FRONT_FROM_EDGE_MM * self.px_per_mm), borderValue=0) > 0
        beside = cv2.dilate(self.bare.astype(np.uint8), cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))) > 0
        return np.asarray(self.mycelium & free & beside)

    @cached_property
    def away_from_front(self) -> NDArray[np.float32]:
        """Distance of each point from the front, px; 1e6 if there is none."""
        return away_from(self.front)

    @cached_property
    def away_from_mycelium(self) -> NDArray[np.float32]:
        """Distance of each point from the nearest mycelium, px; 1e6 if there is none."""
        return away_from(self.mycelium)

    def box_in_photo(self, mask: Mask) -> Box:
        """Left, top, width, height in photo pixels of the bounding box of a mask on the grid."""
        left, top, width, height = cv2.boundingRect(mask.astype(np.uint8))
        right, bottom = left + width, top + height
        corners = np.array([[[left, top], [right, top], [right, bottom], [left, bottom]]], np.float64)
        points = cv2.perspectiveTransform(corners, self.to_photo)[0]
        low, high = points.min(axis=0), points.max(axis=0)
        return round(low[0]), round(low[1]), round(high[0] - low[0]), round(high[1] - low[1])


def disc(radius_px: float) -> NDArray[np.uint8]:
    """A disc as structuring element."""
    side = 2 * max(1, round(radius_px)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)


def away_from(mask: Mask) -> NDArray[np.float32]:
    """Distance of each point from a mask, px; 1e6 if the mask is empty."""
    if not mask.any():
        return np.full(mask.shape, np.float32(1e6))
    return np.asarray(cv2.distanceTransform(1 - mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE), np.float32)


def align_faces(faces: Sequence[tuple[float, int, Face]], spec: VesselSpec) -> list[ComparedFace]:
    """Faces (days since inoculation, phase, face) on one grid; [] if they cannot be aligned."""
    if len(faces) < _MIN_FACES or not all(face.labelled for _, _, face in faces):
        return []
    shapes = {face.classes.shape for _, _, face in faces}
    if kind_of(spec).label_place == "on_face":
        if len(shapes) > 1:
            return []
        rows, columns = shapes.pop()
        boxes = [(0, 0, columns, rows)] * len(faces)
    else:
        boxes = [_surface_box(face) for _, _, face in faces]
    scales = [COMPARED_PX_PER_MM / face.px_per_mm for _, _, face in faces]
    sizes = [(box[2] * scale, box[3] * scale) for box, scale in zip(boxes, scales, strict=True)]
    width, height = (max(8, round(float(length))) for length in np.median(sizes, axis=0))
    return [
        _on_grid(days, phase, face, box, (width, height)) for (days, phase, face), box in zip(faces, boxes, strict=True)
    ]


def same_view(before: ComparedFace, after: ComparedFace) -> bool:
    """Whether two days are of one phase and show the same side: hardly any mycelium has disappeared."""
    if before.phase != after.phase:
        return False
    lost = before.mycelium & after.bare
    return bool(lost.sum() <= _MOST_LOST * max(1, before.mycelium.sum()))


def _surface_box(face: Face) -> Box:
    surface = (face.classes > 0) & (face.classes != LABEL)
    left, top, width, height = cv2.boundingRect(surface.astype(np.uint8))
    return left, top, width, height


def _on_grid(days: float, phase: int, face: Face, box: Box, size: tuple[int, int]) -> ComparedFace:
    left, top, width, height = box
    part = (slice(top, top + height), slice(left, left + width))
    classes = cv2.resize(face.classes[part], size, interpolation=cv2.INTER_NEAREST)
    to_face = np.array([[width / size[0], 0, left], [0, height / size[1], top], [0, 0, 1]], np.float64)
    return ComparedFace(
        days=days,
        phase=phase,
        bare=classes == BARE,
        mycelium=classes == MYCELIUM,
        suspect=classes == SUSPECT,
        label=classes == LABEL,
        picture=face.rgb[part],
        px_per_mm=COMPARED_PX_PER_MM,
        to_photo=face.to_photo @ to_face,
    )
