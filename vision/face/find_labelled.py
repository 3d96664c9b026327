"""Find the face of a labelled vessel in its frame: upright vessels by a small network, dishes by their rim.

The face of a bag or block surrounds its label; jars and dishes lie above their label.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face.outline_network import USUAL_PX, Sides, outline_logits, outline_planes
from vision.face.ring import (
    Ellipse,
    Ring,
    circle_directions,
    edge_along,
    filled_ellipse,
    find_ring,
    fitted_ellipse,
    roundness,
)
from vision.pixels import LinearPicture, reduced, to_lab
from vision.records import VesselSpec, kind_of

#: Scale at which dishes are searched, px per mm.
RING_PX_PER_MM = 2.0
# Usual gap between a dish and its label's upper edge, and spread of its position, mm.
_DISH_GAP_MM, _DISH_OFF_MM = 6.0, 8.0
_RING_SPREAD = 0.03
#: Spread of the agar's place around the part that the network takes for it, mm.
_AGAR_OFF_MM = 2.0
#: Confidence in the network's round shape from which it is taken instead of the ring.
_SURE_OF_AGAR = 0.5
#: Agreement of an outline with the network at which confidence is 0 and 1.
_DICE_RANGE = (0.75, 0.87)


@dataclass(frozen=True, eq=False)
class Upright:
    """A bag, block, jar or similar vessel in its frame.

    picture: of the frame. seen, label: (rows, columns), True where a pixel lies in the photo, and on the label.
    usual_mm: usual position of its face in the frame, mm.
    """

    spec: VesselSpec
    picture: LinearPicture
    seen: NDArray[np.bool_]
    label: NDArray[np.bool_]
    px_per_mm: float
    usual_mm: Sides


def find_upright(vessel: Upright) -> tuple[NDArray[np.bool_], float]:
    """Mask of an upright vessel's face, including what the photo's border cuts off, and its confidence (0-1)."""
    scale = planes_px_per_mm(vessel.spec)
    rows, columns = (max(1, round(n * scale / vessel.px_per_mm)) for n in vessel.label.shape)
    left, top, right, bottom = (side * scale for side in vessel.usual_mm)
    label, seen = _share(vessel.label, (rows, columns)), _share(vessel.seen, (rows, columns))
    light = vessel.picture.resized((2 * rows, 2 * columns))
    logits = outline_logits(outline_planes(light, label, seen, (left, top, right, bottom)))
    shape = one_shape(logits)
    if not shape.any():
        return np.zeros(vessel.label.shape, bool), 0.0
    # The zero line of the logits, at sub-pixel accuracy, restricted to the chosen shape and its border.
    near = cv2.dilate(shape.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    line = np.where(shape, np.maximum(logits, 0.01), np.where(near, logits, np.float32(-1)))
    large = cv2.resize(line, vessel.label.shape[::-1], interpolation=cv2.INTER_LINEAR) > 0
    whole = with_cut_off(np.asarray(large, np.bool_), vessel.seen, vessel.usual_mm, vessel.px_per_mm)
    return whole, outline_confidence(logits, shape, seen > 0.5)


def planes_px_per_mm(spec: VesselSpec) -> float:
    """Scale of the network's input for an upright vessel, px per mm."""
    kind = kind_of(spec)
    return USUAL_PX / float(np.sqrt(kind.face_width_mm * kind.face_height_mm))


def with_cut_off(
    mask: NDArray[np.bool_], seen: NDArray[np.bool_], usual_mm: Sides, px_per_mm: float
) -> NDArray[np.bool_]:
    """A mask that touches the photo's border, extended beyond it as far as a face usually reaches."""
    if seen.all():  # common case: the frame lies wholly in the photo
        return mask
    outside = ~seen
    if not (outside & (cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)).any():
        return mask
    left, top, right, bottom = (max(0, round(side * px_per_mm)) for side in usual_mm)
    missing = np.zeros_like(mask)
    missing[top:bottom, left:right] = outside[top:bottom, left:right]
    return mask | missing


def one_shape(logits: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Mask (rows, columns) of the largest connected part with positive logits, its holes filled."""
    likely = (logits > 0).astype(np.uint8)
    likely = np.asarray(cv2.morphologyEx(likely, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8)
    contours, _ = cv2.findContours(likely, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    shape = np.zeros(likely.shape, np.uint8)
    if contours:
        cv2.drawContours(shape, [max(contours, key=cv2.contourArea)], -1, 1, -1)
    return shape > 0


def outline_confidence(logits: NDArray[np.float32], shape: NDArray[np.bool_], seen: NDArray[np.bool_]) -> float:
    """Agreement of a shape with the network's output, 0-1: their Dice coefficient, rescaled by ``_DICE_RANGE``."""
    likely = 1 / (1 + np.exp(-logits[seen]))
    agreed = 2 * float(likely[shape[seen]].sum()) / max(1e-6, float(likely.sum() + shape[seen].sum()))
    return float(np.clip((agreed - _DICE_RANGE[0]) / (_DICE_RANGE[1] - _DICE_RANGE[0]), 0, 1))


def _share(mask: NDArray[np.bool_], shape: tuple[int, int]) -> NDArray[np.float32]:
    """Share of each pixel of a smaller grid (rows, columns) that a mask covers."""
    if mask.all():  # common case: the frame lies wholly in the photo
        return np.ones(shape, np.float32)
    return reduced(mask * np.uint8(255), shape).astype(np.float32) / np.float32(255)


def find_dish(
    spec: VesselSpec,
    picture: LinearPicture,
    seen: NDArray[np.bool_],
    px_per_mm: float,
    *,
    tilt: NDArray[np.float64] | None = None,
) -> tuple[NDArray[np.bool_], float]:
    """Mask of a dish's agar above its label, and its confidence (0-1).

    The strongest ring may be the rim, the lid or the agar's border; the network says which part is agar. Of the ellipse
    of that part and the ring nearest to it the one that is more of an edge is taken. seen: True inside the photo.
    tilt: foreshortening (2 x 2) of a circle on the tray in the frame; None means seen square on.
    """
    kind = kind_of(spec)
    shape = (picture.rgb.shape[0], picture.rgb.shape[1])
    lab = to_lab(picture.reduced(RING_PX_PER_MM / px_per_mm))
    usual_mm = kind.face_width_mm / 2
    bottom_mm = lab.shape[0] / RING_PX_PER_MM - 0.03 * kind.face_height_mm
    middle_mm = (bottom_mm - _DISH_GAP_MM - usual_mm, lab.shape[1] / RING_PX_PER_MM / 2)
    ring = _ring_near(lab, middle_mm, usual_mm, _DISH_OFF_MM, tilt)
    whole = _mask_of(Ellipse(ring.centre, ring.radius, _stretch(tilt)), px_per_mm, shape)
    agar, confidence = _agar_by_network(
        Upright(spec, picture, seen, np.zeros_like(seen), px_per_mm, (0, 0, 0, 0)), whole
    )
    ellipse = fitted_ellipse(agar) if confidence >= _SURE_OF_AGAR else None
    if ellipse is None:
        return whole, ring.strength
    scale = RING_PX_PER_MM / px_per_mm
    seen_one = Ellipse((ellipse.centre[0] * scale, ellipse.centre[1] * scale), ellipse.radius * scale, ellipse.stretch)
    row_mm, column_mm = (place / px_per_mm for place in ellipse.centre)
    near = _ring_near(lab, (row_mm, column_mm), ellipse.radius / px_per_mm, _AGAR_OFF_MM, tilt)
    if edge_along(lab, seen_one) >= near.strength:
        return filled_ellipse(ellipse, shape), confidence
    return _mask_of(Ellipse(near.centre, near.radius, _stretch(tilt)), px_per_mm, shape), near.strength


def _agar_by_network(vessel: Upright, ring: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], float]:
    """Mask of the agar as the network sees it where a ring was found, and confidence times roundness (0-1)."""
    rows, columns = np.flatnonzero(ring.any(axis=1)), np.flatnonzero(ring.any(axis=0))
    if not len(rows):
        return ring, 0.0
    left, top, right, bottom = (
        float(side) / vessel.px_per_mm for side in (columns[0], rows[0], columns[-1] + 1, rows[-1] + 1)
    )
    agar, confidence = find_upright(replace(vessel, usual_mm=(left, top, right, bottom)))
    return agar, confidence * roundness(agar)


def _ring_near(
    lab: NDArray[np.float32],
    middle_mm: tuple[float, float],
    radius_mm: float,
    off_mm: float,
    tilt: NDArray[np.float64] | None,
) -> Ring:
    """The best ring, px of ``lab``, near a middle (row, column) and of about a radius; off_mm: spread of its place."""
    return find_ring(
        lab,
        (middle_mm[0] * RING_PX_PER_MM, middle_mm[1] * RING_PX_PER_MM),
        radius_mm * RING_PX_PER_MM,
        centre_spread=off_mm * RING_PX_PER_MM,
        radius_spread=_RING_SPREAD * radius_mm * RING_PX_PER_MM,
        directions=circle_directions(tilt),
    )


def _stretch(tilt: NDArray[np.float64] | None) -> NDArray[np.float64]:
    return np.eye(2) if tilt is None else tilt


def _mask_of(ring: Ellipse, px_per_mm: float, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Mask (rows, columns) of the inside of a ring found at ``RING_PX_PER_MM``."""
    scale = px_per_mm / RING_PX_PER_MM
    # OpenCV also fills the pixels that the curve touches, so the radius is reduced by half a pixel of the mask.
    row, column = (place * scale + (scale - 1) / 2 for place in ring.centre)
    return filled_ellipse(Ellipse((row, column), ring.radius * scale - 0.5, ring.stretch), shape)
