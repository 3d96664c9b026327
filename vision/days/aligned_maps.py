"""Align the faces of a vessel on one grid, so that a point can be compared between days.

If the label is on the face, the frames are already aligned. Otherwise the bounding boxes of the faces are aligned,
which is accurate to a few millimetres but cannot detect that a vessel was rotated. A rotation shows as mycelium that
disappears; such days are not compared.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.days.monotone_growth import COMPARED_PX_PER_MM
from vision.pixels import reduced
from vision.records import BARE, LABEL, MYCELIUM, OTHER, Box, Face, VesselSpec, kind_of

#: Two days are not comparable if more than this share of the mycelium is missing on the later one.
_MOST_LOST = 0.08
#: The front is used only at this distance from the edge of the face, mm.
_FRONT_FROM_EDGE_MM = 6.0

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class ComparedFace:
    """One day on the common grid (rows, columns; ``COMPARED_PX_PER_MM`` pixels to the millimetre).

    classes: class map. lightness: CIELAB L of each point, rounded, where it is known.
    """

    days: float
    phase: int
    classes: NDArray[np.uint8]
    lightness: NDArray[np.uint8] | None = None
    px_per_mm: float = COMPARED_PX_PER_MM

    @property
    def bare(self) -> Mask:
        """Bare substrate."""
        return np.asarray(self.classes == BARE)

    @cached_property
    def mycelium(self) -> Mask:
        """Mycelium."""
        return np.asarray(self.classes == MYCELIUM)

    @property
    def outline(self) -> Mask:
        """Mask of the vessel: bare, mycelium, suspects and label."""
        return np.asarray((self.classes > 0) & (self.classes != OTHER))

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

    def on_grid(self, size: tuple[int, int]) -> "ComparedFace":
        """The day on a grid of (columns, rows)."""
        if self.classes.shape[::-1] == size:
            return self
        classes = np.asarray(cv2.resize(self.classes, size, interpolation=cv2.INTER_NEAREST), np.uint8)
        if self.lightness is None:
            return replace(self, classes=classes)
        lightness = np.asarray(cv2.resize(self.lightness, size, interpolation=cv2.INTER_AREA), np.uint8)
        return replace(self, classes=classes, lightness=lightness)

    def part(self, box: tuple[slice, slice]) -> "ComparedFace":
        """Only some rows and columns of the day."""
        lightness = None if self.lightness is None else self.lightness[box]
        return replace(self, classes=self.classes[box], lightness=lightness)


def disc(radius_px: float) -> NDArray[np.uint8]:
    """A disc as structuring element."""
    side = 2 * max(1, round(radius_px)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)


def away_from(mask: Mask) -> NDArray[np.float32]:
    """Distance of each point from a mask, px; 1e6 if the mask is empty."""
    if not mask.any():
        return np.full(mask.shape, np.float32(1e6))
    return np.asarray(cv2.distanceTransform(1 - mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE), np.float32)


def compared_face(days: float, phase: int, face: Face, spec: VesselSpec, *, with_light: bool) -> ComparedFace:
    """A day at the scale at which days are compared: all of a face with a label on it, else what the surface covers."""
    left, top, width, height = compared_box(face, spec)
    part = (slice(top, top + height), slice(left, left + width))
    scale = COMPARED_PX_PER_MM / face.px_per_mm
    size = max(8, round(width * scale)), max(8, round(height * scale))
    classes = np.asarray(cv2.resize(face.classes[part], size, interpolation=cv2.INTER_NEAREST), np.uint8)
    return ComparedFace(days, phase, classes, _lightness(face.rgb[part], size) if with_light else None)


def common_size(days: Sequence[ComparedFace]) -> tuple[int, int]:
    """Columns and rows of the grid on which some days are compared: the median of their own."""
    rows, columns = np.median([one.classes.shape for one in days], axis=0)
    return round(float(columns)), round(float(rows))


def box_in_photo(mask: Mask, face: Face, spec: VesselSpec) -> Box:
    """Left, top, width, height in photo pixels of the bounding box of a mask on the grid of a day."""
    left, top, width, height = compared_box(face, spec)
    rows, columns = mask.shape
    to_face = np.array([[width / columns, 0, left], [0, height / rows, top], [0, 0, 1]], np.float64)
    at, down, across, along = cv2.boundingRect(mask.astype(np.uint8))
    right, bottom = at + across, down + along
    corners = np.array([[[at, down], [right, down], [right, bottom], [at, bottom]]], np.float64)
    points = cv2.perspectiveTransform(corners, face.to_photo @ to_face)[0]
    low, high = points.min(axis=0), points.max(axis=0)
    return round(low[0]), round(low[1]), round(high[0] - low[0]), round(high[1] - low[1])


def compared_box(face: Face, spec: VesselSpec) -> Box:
    """Left, top, width and height of the part of a face that is compared, in its own pixels."""
    if kind_of(spec).label_place == "on_face":
        rows, columns = face.classes.shape
        return 0, 0, columns, rows
    surface = (face.classes > 0) & (face.classes != LABEL)
    left, top, width, height = cv2.boundingRect(surface.astype(np.uint8))
    return left, top, width, height


def _lightness(picture: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    rgb = reduced(picture, size[::-1]).astype(np.float32) / np.float32(255)
    return np.asarray(np.round(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB)[..., 0]), np.uint8)


def same_view(before: ComparedFace, after: ComparedFace) -> bool:
    """Whether two days are of one phase and show the same side: hardly any mycelium has disappeared."""
    if before.phase != after.phase:
        return False
    lost = before.mycelium & after.bare
    return bool(lost.sum() <= _MOST_LOST * max(1, before.mycelium.sum()))
