"""Find a labelled vessel's face in its frame: around its label, or above it.

A bag's or block's face surrounds its label; a jar stands above its label, a dish lies above it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.faces import kind_of
from vision.frame import enlarged_mask, reduced_mask
from vision.light import LitPicture, to_lab
from vision.outline import (
    OutlineGuess,
    Sight,
    fill,
    fine_contrast,
    fitted_rectangle,
    refine_outlines,
    rounded_rectangle_radii,
    side_and_end_spread,
    sight_of,
)
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
# How far a jar stands to one side of its label: a part that is the same for all and a share of its width.
_JAR_ASIDE_MM, _JAR_ASIDE_SHARE = 7.225, 0.085
#: How far from its usual place a jar is put back beside the same label.
_SAME_PLACE_MM = 5.0
#: Score of a rectangle that agrees well with a jar's.
_SURE_SCORE = 24.0
_JAR_CORNER_MM = 6.0
_GLASS_BASE_MM = 6
# Empty glass above the substrate: how far beside the jar its surroundings are taken, mm; which shares of the height it
# may have; how like its surroundings and how smooth it is beside what lies below; rows that a lid's edge spoils.
_ASIDE_MM, _LEAST_EMPTY, _MOST_EMPTY, _SEEN_THROUGH, _AS_SMOOTH, _RIM_ROWS = 10, 0.08, 0.4, 0.7, 1.15, 3


@dataclass(frozen=True, eq=False)
class OnFace:
    """A vessel whose label is stuck on its face, in its frame.

    sights: for each look at it the frame's picture and, (rows, columns), True where its pixel lies in the photo.
    label: (rows, columns), True on the label.
    """

    spec: VesselSpec
    sights: Sequence[tuple[LitPicture, NDArray[np.bool_]]]
    label: NDArray[np.bool_]
    px_per_mm: float


def find_on_faces(vessels: Sequence[OnFace]) -> list[NDArray[np.bool_]]:
    """Mask of each vessel's face, common to its sights; several vessels sought together take less time."""
    starts = [_start_on_face(vessel) for vessel in vessels]
    looks = [start[0] for start in starts]
    guesses = [start[1] for start in starts]
    masks: list[NDArray[np.bool_]] = []
    spread = side_and_end_spread(_BAG_SPREAD_SIDES, _BAG_SPREAD_ENDS)
    for narrower, rounds in ((1.0, 2), (0.5, 1), (0.5, 1)):
        tried = [OutlineGuess(radii, centre, spread * narrower) for radii, centre in guesses]
        refined = refine_outlines(list(zip(looks, tried, strict=True)), rounds=rounds)
        masks = [
            fill(radii, guess.centre, sights[0].known.shape)
            for radii, guess, sights in zip(refined, tried, looks, strict=True)
        ]
        guesses = [fitted_rectangle(mask, _BAG_CORNER_MM) for mask in masks]
    return [enlarged_mask(mask, vessel.label.shape) for mask, vessel in zip(masks, vessels, strict=True)]


def _start_on_face(vessel: OnFace) -> tuple[list[Sight], tuple[NDArray[np.float64], tuple[float, float]]]:
    """The sights of a vessel reduced to where its outline is sought, and radii and centre of the first guess."""
    kind = kind_of(vessel.spec)
    factor = SEEK_PX_PER_MM / vessel.px_per_mm
    rows, columns = np.nonzero(reduced_mask(vessel.label, factor))
    label_row, label_column = float(rows.mean()), float(columns.mean())
    sights = [
        _bag_sight(picture.reduced(factor), reduced_mask(seen, factor), label_row, label_column, kind.face_width_mm)
        for picture, seen in vessel.sights
    ]
    width, height = _BAG_MEAN_SHARE * kind.face_width_mm, _BAG_MEAN_SHARE * kind.face_height_mm
    radii = rounded_rectangle_radii(width, height, _BAG_CORNER_MM)
    return sights, (radii, (label_row + height / 2 - _LABEL_BELOW_TOP_MM, label_column))


def _bag_sight(
    light: NDArray[np.float32], seen: NDArray[np.bool_], label_row: float, label_column: float, width_mm: float
) -> Sight:
    rows, columns = np.ogrid[: light.shape[0], : light.shape[1]]
    known = np.zeros(light.shape[:2], np.int8)
    known[(np.abs(columns - label_column) < 34) & (np.abs(rows - label_row) < 24)] = 1
    known[rows[:, 0] < label_row - _FILM_SURE_MM] = -1
    known[~seen] = -1
    film = (rows < label_row - _FILM_FROM_MM) & (np.abs(columns - label_column) < width_mm / 2)
    return sight_of(to_lab(light), known, film)


def find_jar(
    spec: VesselSpec, picture: LitPicture, px_per_mm: float, *, size_spread: float = 1.0, aside_mm: float | None = None
) -> tuple[NDArray[np.bool_], float]:
    """Mask of a jar's or tube's face above its label, and how sure it is (0-1).

    size_spread: 1 for a usual size, smaller where the size is known from other photos. aside_mm: how far to the right
    of its label it stands in other photos; None where there are none.
    """
    kind = kind_of(spec)
    lab = to_lab(picture.reduced(SEEK_PX_PER_MM / px_per_mm))
    width, height = kind.face_width_mm, kind.face_height_mm
    off_mm = _JAR_ASIDE_MM + _JAR_ASIDE_SHARE * width if aside_mm is None else _SAME_PLACE_MM
    middle = lab.shape[1] / 2 + SEEK_PX_PER_MM * (aside_mm or 0.0)
    across = Usual(middle, width, off_mm, size_spread * 0.16 * width)
    bottom = lab.shape[0] - 0.04 * height - _JAR_GAP_MM
    down = Usual(bottom - height / 2, height, _JAR_OFF_MM, size_spread * 0.18 * height)
    found = _below_headspace(lab, long_edges(lab, across, down, base=_GLASS_BASE_MM if spec.kind == "jar" else 0))
    return _jar_mask(found, picture.rgb.shape[:2], px_per_mm), float(np.clip(found.score / _SURE_SCORE, 0, 1))


def _below_headspace(lab: NDArray[np.float32], found: Rectangle) -> Rectangle:
    """The rectangle with its top moved down over empty glass: smooth rows that look like what is beside the vessel."""
    left, top, right, bottom = (round(edge) for edge in (found.left, found.top, found.right, found.bottom))
    aside = _ASIDE_MM
    if right - left < 4 * aside or bottom - top < 4 * aside or left < aside or right + aside > lab.shape[1]:
        return found
    inset = (right - left) // 6
    within = np.ascontiguousarray(lab[top:bottom, left + inset : right - inset])
    sides = [lab[top:bottom, left - aside : left - 2], lab[top:bottom, right + 2 : right + aside]]
    rows = within.mean(axis=1)
    differs = np.linalg.norm(rows - np.concatenate(sides, axis=1).mean(axis=1), axis=1)
    contrast = fine_contrast(within).mean(axis=1)
    height = bottom - top
    places = range(max(round(_LEAST_EMPTY * height), _RIM_ROWS + 2), round(_MOST_EMPTY * height))
    steps = {place: float(np.linalg.norm(rows[place + 1] - rows[place - 2])) for place in places}
    surface = max(steps, key=lambda place: steps[place])
    above, below = slice(_RIM_ROWS, surface - 1), slice(surface + 2, surface + 2 + height // 5)
    looks_through = differs[above].mean() < _SEEN_THROUGH * differs[below].mean()
    if looks_through and contrast[above].mean() < _AS_SMOOTH * contrast[below].mean():
        return replace(found, top=float(top + surface))
    return found


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
    spec: VesselSpec,
    picture: LitPicture,
    px_per_mm: float,
    *,
    tilt: NDArray[np.float64] | None = None,
    size_spread: float = 1.0,
) -> tuple[NDArray[np.bool_], float]:
    """Mask of a dish's agar above its label, and how sure it is (0-1).

    tilt: 2 x 2 stretch by which a circle on the tray is seen in the frame; None is square on.
    """
    kind = kind_of(spec)
    lab = to_lab(picture.reduced(RING_PX_PER_MM / px_per_mm))
    radius = kind.face_width_mm / 2
    bottom_mm = lab.shape[0] / RING_PX_PER_MM - 0.03 * kind.face_height_mm
    centre = ((bottom_mm - _DISH_GAP_MM - radius) * RING_PX_PER_MM, lab.shape[1] / 2)
    directions = circle_directions(tilt)
    ring = find_ring(
        lab,
        centre,
        radius * RING_PX_PER_MM,
        centre_spread=_DISH_OFF_MM * RING_PX_PER_MM,
        radius_spread=size_spread * _RING_SPREAD * radius * RING_PX_PER_MM,
        directions=directions,
    )
    scale = px_per_mm / RING_PX_PER_MM
    # OpenCV fills up to and including the pixels that the curve touches: half a pixel less, in the mask's pixels.
    radius_px = ring.radius - 0.5 * RING_PX_PER_MM / px_per_mm
    points = np.array([ring.centre[1], ring.centre[0]]) + radius_px * circle_directions(tilt, 360)
    mask = np.zeros(picture.rgb.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round((points * scale + (scale - 1) / 2) * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(bool), ring.strength
