"""Colonies on a plate: position, area, and radius in each direction."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.records import BARE, LABEL, MYCELIUM, OTHER, SUSPECT, Face

#: Number of evenly spaced directions in which a colony's radius is measured.
DIRECTIONS = 36
#: Smaller patches are specks, not colonies, mm2 (an agar plug of 4 x 4 mm has 16).
MIN_COLONY_MM2 = 12.0
#: Gaps up to this width within a colony are closed, mm; strains that grow in strands leave some.
_BRIDGED_MM = 1.5


@dataclass(frozen=True)
class Colony:
    """One colony. Positions are millimetres from the dish's centre, x to the right, y down.

    area_mm2: covered area; dish_percent: the same as percent of the dish. radius_mm: of the circle of equal area.
    radii_mm: distance from ``origin_mm`` to the colony's edge in ``DIRECTIONS`` directions, clockwise from the x axis
    as seen by the camera; rim_mm: distance to the dish's rim in the same directions.
    """

    origin_mm: tuple[float, float]
    area_mm2: float
    dish_percent: float
    radius_mm: float
    radii_mm: tuple[float, ...]
    rim_mm: tuple[float, ...]


def measure_colonies(face: Face, *, origin_mm: tuple[float, float] | None = None) -> tuple[Colony, ...]:
    """The colonies of a plate's face, largest first.

    origin_mm: the point from which the largest colony's radii are measured (its inoculation point, once known); None
    uses the centroid of each colony.
    """
    surface = (face.classes >= BARE) & (face.classes <= SUSPECT)
    if not surface.any():
        return ()
    rows, columns = np.nonzero(surface)
    dish_row, dish_column = (rows.min() + rows.max()) / 2, (columns.min() + columns.max()) / 2
    labels, areas = _patches(face)
    found: list[Colony] = []
    for number in np.argsort(-areas):
        area_mm2 = float(areas[number]) / face.px_per_mm**2
        if area_mm2 < MIN_COLONY_MM2:
            break
        mask = labels == number + 1
        origin = origin_mm if origin_mm is not None and not found else _centre_mm(mask, dish_row, dish_column, face)
        start = (dish_row + origin[1] * face.px_per_mm, dish_column + origin[0] * face.px_per_mm)
        found.append(
            Colony(
                origin_mm=origin,
                area_mm2=area_mm2,
                dish_percent=100.0 * float(areas[number]) / float(surface.sum()),
                radius_mm=float(np.sqrt(area_mm2 / np.pi)),
                radii_mm=_reach_mm(mask, start, face.px_per_mm),
                rim_mm=_reach_mm(surface, start, face.px_per_mm),
            )
        )
    return tuple(found)


def _patches(face: Face) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """Colony number at each pixel (0: none), and the number of mycelium pixels of each colony."""
    mycelium = (face.classes == MYCELIUM).astype(np.uint8)
    size = 2 * max(1, round(_BRIDGED_MM * face.px_per_mm / 2)) + 1
    bridged = cv2.morphologyEx(mycelium, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))
    bridged[(face.classes < BARE) | (face.classes == LABEL) | (face.classes == OTHER)] = 0
    count, labels = cv2.connectedComponents(bridged, connectivity=8)
    areas = np.bincount(labels[mycelium > 0], minlength=count)[1:]
    return np.asarray(labels, np.int32), np.asarray(areas, np.int64)


def _centre_mm(mask: NDArray[np.bool_], dish_row: float, dish_column: float, face: Face) -> tuple[float, float]:
    rows, columns = np.nonzero(mask)
    return (
        round(float(columns.mean() - dish_column) / face.px_per_mm, 2),
        round(float(rows.mean() - dish_row) / face.px_per_mm, 2),
    )


def _reach_mm(mask: NDArray[np.bool_], start: tuple[float, float], px_per_mm: float) -> tuple[float, ...]:
    """Distance in mm from start (row, column) to the mask's last pixel in each direction; 0 if there is none."""
    angles = np.arange(DIRECTIONS) * (2 * np.pi / DIRECTIONS)
    distance = np.arange(0.0, float(np.hypot(*mask.shape)), 0.5)
    columns = (start[1] + distance * np.cos(angles)[:, None]).astype(np.float32)
    rows = (start[0] + distance * np.sin(angles)[:, None]).astype(np.float32)
    along = cv2.remap(mask.astype(np.uint8), columns, rows, cv2.INTER_NEAREST)
    last = along.shape[1] - 1 - along[:, ::-1].argmax(axis=1)
    reach = np.where(along.any(axis=1), distance[last] + 0.5, 0.0) / px_per_mm
    return tuple(round(float(value), 2) for value in reach)
