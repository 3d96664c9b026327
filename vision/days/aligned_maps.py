"""A vessel's faces over days laid on one grid, so that a point of one day can be compared with itself on another.

Where the label sticks to the face the frames lie on each other as they are; elsewhere the boxes around the faces do,
which is good to a few millimetres and says nothing of a vessel that was turned: such days are told by mycelium that is
gone, and are not compared.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.days.over_days import COMPARED_PX_PER_MM
from vision.pixels import reduced
from vision.records import BARE, LABEL, MYCELIUM, SUSPECT, Box, Face, VesselSpec, kind_of

#: Share of the mycelium that may be missing on a later day before two days are called not comparable.
_MOST_LOST = 0.08
_FEWEST_FACES = 2
#: A front counts where it is so far from the edge of the face, mm.
_FRONT_FROM_EDGE_MM = 6.0

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class ComparedFace:
    """One day on the common grid (rows, columns; ``px_per_mm`` pixels to the millimetre).

    bare, mycelium, suspect, label: bool, where the class map says so; outline: all of them. picture: uint8, what of the
    face is laid on the grid, in the face's own pixels.
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
        """True on the vessel."""
        return self.bare | self.mycelium | self.suspect | self.label

    @cached_property
    def lightness(self) -> NDArray[np.float32]:
        """CIELAB L of each point."""
        rgb = reduced(self.picture, self.bare.shape).astype(np.float32) / np.float32(255)
        return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)[..., 0], np.float32)

    @cached_property
    def front(self) -> Mask:
        """Mycelium with bare surface beside it, away from label, suspects and the edge of the face."""
        surface = (self.bare | self.mycelium).astype(np.uint8)
        free = cv2.erode(surface, disc(_FRONT_FROM_EDGE_MM * self.px_per_mm), borderValue=0) > 0
        beside = cv2.dilate(self.bare.astype(np.uint8), cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))) > 0
        return np.asarray(self.mycelium & free & beside)

    @cached_property
    def away_from_front(self) -> NDArray[np.float32]:
        """Distance of each point from the front, px; far where there is none."""
        return away_from(self.front)

    @cached_property
    def away_from_mycelium(self) -> NDArray[np.float32]:
        """Distance of each point from the nearest mycelium, px; far where there is none."""
        return away_from(self.mycelium)

    def box_in_photo(self, mask: Mask) -> Box:
        """Left, top, width, height in photo pixels around a mask of the grid."""
        left, top, width, height = cv2.boundingRect(mask.astype(np.uint8))
        right, bottom = left + width, top + height
        corners = np.array([[[left, top], [right, top], [right, bottom], [left, bottom]]], np.float64)
        points = cv2.perspectiveTransform(corners, self.to_photo)[0]
        low, high = points.min(axis=0), points.max(axis=0)
        return round(low[0]), round(low[1]), round(high[0] - low[0]), round(high[1] - low[1])


def disc(radius_px: float) -> NDArray[np.uint8]:
    """A disc for morphology."""
    side = 2 * max(1, round(radius_px)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)


def away_from(mask: Mask) -> NDArray[np.float32]:
    """Distance of each point from a mask, px; far where the mask is empty."""
    if not mask.any():
        return np.full(mask.shape, np.float32(1e6))
    return np.asarray(cv2.distanceTransform(1 - mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE), np.float32)


def lay_together(faces: Sequence[tuple[float, int, Face]], spec: VesselSpec) -> list[ComparedFace]:
    """Faces (days since inoculation, phase, face) on one grid; [] where they cannot be laid on each other."""
    if len(faces) < _FEWEST_FACES or not all(face.labelled for _, _, face in faces):
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
    """Whether two days of one phase show the same side: hardly any mycelium is gone."""
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
