"""Find the one vessel of an unlabelled picture: the large upright thing, or the dish, near its middle."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.faces import kind_of
from vision.find_face import SEEK_PX_PER_MM
from vision.frame import enlarged_mask, reduced_mask
from vision.light import LitPicture, to_lab
from vision.outline import (
    OutlineGuess,
    edge_strength,
    fill,
    fine_contrast,
    fitted_rectangle,
    refine_outline,
    rounded_rectangle_radii,
    sight_of,
)
from vision.records import VesselSpec
from vision.rectangle import Usual, long_edges
from vision.ring import circle_directions, find_ring

#: Score of a rectangle that agrees well with a vessel's; on the development pictures vessels have 25 and more.
_SURE_SCORE = 32.0
#: Found shapes smaller than this share of the picture are no vessel that was meant.
_LEAST_SHARE = 0.03
#: Edge of the outline above the inside's (Lab units per px) and fine contrast (Lab units) that count as certain.
_FULL_OUTLINE, _FULL_CONTRAST = 1.5, 4.5
#: Lower corners of a face, mm, and how far above an unlabelled face its film is looked for.
_CORNER_MM = {"bag": 30.0, "block": 30.0, "jar": 6.0, "bucket": 12.0, "tube": 4.0}
_FILM_MM = 60.0
_SPREADS = (0.15, 0.10, 0.06)


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
    sight = sight_of(lab, np.zeros((rows, columns), np.int8), np.zeros((rows, columns), bool))
    for spread_share in (0.12, 0.08, 0.06):
        above = (grid_rows < centre[0] - height / 2 - 4) & (grid_rows > centre[0] - height)
        film = above & (np.abs(grid_columns - centre[1]) < width / 2)
        guess = OutlineGuess(radii, centre, np.full(len(radii), spread_share))
        mask = fill(refine_outline([replace(sight, foreign=film)], guess, rounds=1), centre, (rows, columns))
        radii, centre = fitted_rectangle(mask, corner)
    return mask, min(float(np.clip(found.score / _SURE_SCORE, 0, 1)), _likeness(lab, mask))


def settle_alone(spec: VesselSpec, picture: LitPicture, mask: NDArray[np.bool_], px_per_mm: float) -> NDArray[np.bool_]:
    """The mask of an upright face in its frame, settled on a picture of about one pixel a millimetre.

    picture: of the frame; mask: where the face was found on a coarser picture.
    """
    lab = to_lab(picture.reduced(SEEK_PX_PER_MM / px_per_mm))
    rows, columns = lab.shape[:2]
    coarse = reduced_mask(mask, SEEK_PX_PER_MM / px_per_mm)
    corner = _CORNER_MM.get(spec.kind, _CORNER_MM["bag"])
    sight = sight_of(lab, np.zeros((rows, columns), np.int8), np.zeros((rows, columns), bool))
    for spread in _SPREADS:
        radii, centre = fitted_rectangle(coarse, corner)
        top = centre[0] - float(radii[3 * len(radii) // 4])
        down, across = np.mgrid[:rows, :columns]
        film = (down < top - 4) & (down > top - _FILM_MM) & (np.abs(across - centre[1]) < float(radii[0]))
        guess = OutlineGuess(radii, centre, np.full(len(radii), spread))
        coarse = fill(refine_outline([replace(sight, foreign=film)], guess), centre, (rows, columns))
    return enlarged_mask(coarse, mask.shape)


def _likeness(lab: NDArray[np.float32], mask: NDArray[np.bool_]) -> float:
    """How like a vessel of substrate a found shape is, 0-1: outlined, with fine contrast, of an earthy or white colour.

    Smooth boxes and walls have no fine contrast, noise has no outline, bottles and tools have strong cold colours.
    """
    share = float(mask.mean())
    inner = cv2.erode(mask.astype(np.uint8), np.ones((7, 7), np.uint8), iterations=2) > 0
    if share < _LEAST_SHARE or not inner.any():
        return 0.0
    edge = edge_strength(lab)
    grown = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8))
    border = grown > cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8))
    outlined = (float(edge[border].mean()) - float(edge[inner].mean())) / _FULL_OUTLINE
    contrast = float(fine_contrast(lab)[inner].mean()) / _FULL_CONTRAST
    colours = lab[inner]
    green_or_blue = (colours[:, 1] < -12) | (colours[:, 2] < -18)
    cold = float((green_or_blue | ((colours[:, 1] > 20) & (colours[:, 2] < 0))).mean())
    return float(np.clip(min(outlined, contrast, 1.0 - cold), 0.0, 1.0))


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
