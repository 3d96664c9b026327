"""Find the one vessel of an unlabelled picture: the large upright thing, or the dish, near its middle."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.face.find_labelled import Upright, find_upright, one_shape, sureness_of
from vision.face.frame import Frame, frame_at
from vision.face.outline_network import Sides, outline_logits, outline_planes
from vision.face.ring import circle_directions, edge_fields, find_ring
from vision.pixels import LitPicture, to_lab
from vision.records import VesselSpec, kind_of

#: Rows of the small picture on which a vessel is first sought; it comes with twice as many.
ALONE_ROWS = 192
#: A vessel that is meant about fills so much of the picture's height.
_USUAL_SHARE = 0.55
#: Found shapes smaller than this share of the picture are no vessel that was meant.
_LEAST_SHARE = 0.03
#: The frame around a found vessel reaches so far from its middle, in its usual sizes.
_REACH = 0.75
#: Edge of the outline above the inside's (Lab units per px) and fine contrast (Lab units) that count as certain.
_FULL_OUTLINE, _FULL_CONTRAST = 1.5, 4.5
_EDGE_LIMIT = 10.0


def find_alone(spec: VesselSpec, picture: LitPicture) -> tuple[NDArray[np.bool_], float]:
    """Mask of the one upright vessel near the middle of a picture, at half its size, and how sure it is (0-1).

    The picture has ``2 * ALONE_ROWS`` rows and an even number of columns.
    """
    rows, columns = picture.rgb.shape[0] // 2, picture.rgb.shape[1] // 2
    label, seen = np.zeros((rows, columns), np.float32), np.ones((rows, columns), np.float32)
    logits = outline_logits(outline_planes(picture.light(), label, seen, alone_sides(spec, (rows, columns))))
    shape = one_shape(logits)
    lab = to_lab(picture.resized((rows, columns)))
    return shape, float(np.sqrt(sureness_of(logits, shape, seen > 0) * _likeness(lab, shape)))


def alone_sides(spec: VesselSpec, shape: tuple[int, int]) -> Sides:
    """Where the face of the one vessel in a picture (rows, columns) usually lies: left, top, right, bottom, px."""
    kind = kind_of(spec)
    height = _USUAL_SHARE * shape[0]
    width = height * kind.face_width_mm / kind.face_height_mm
    middle = (shape[1] / 2, shape[0] / 2)
    return middle[0] - width / 2, middle[1] - height / 2, middle[0] + width / 2, middle[1] + height / 2


def frame_around(spec: VesselSpec, middle: NDArray[np.float64], width_px: float) -> tuple[Frame, Sides]:
    """The frame of a face found without a label by its middle (column, row) and width in a photo; where it lies, mm."""
    kind = kind_of(spec)
    across, down = kind.face_width_mm, kind.face_height_mm
    box = (-_REACH * across, -_REACH * down, 2 * _REACH * across, 2 * _REACH * down)
    frame = frame_at(middle, 0.0, width_px / across, box, kind.face_px_per_mm)
    left, top = (_REACH - 0.5) * across, (_REACH - 0.5) * down
    return frame, (left, top, left + across, top + down)


def settle_alone(
    spec: VesselSpec, picture: LitPicture, seen: NDArray[np.bool_], usual_mm: Sides, px_per_mm: float
) -> NDArray[np.bool_]:
    """The mask of an upright face in the frame that lies around where it was first found."""
    return find_upright(Upright(spec, picture, seen, np.zeros_like(seen), px_per_mm, usual_mm))[0]


def _likeness(lab: NDArray[np.float32], mask: NDArray[np.bool_]) -> float:
    """How like a vessel of substrate a found shape is, 0-1: outlined, with fine contrast, of an earthy or white colour.

    Smooth boxes and walls have no fine contrast, noise has no outline, bottles and tools have strong cold colours.
    """
    share = float(mask.mean())
    inner = cv2.erode(mask.astype(np.uint8), np.ones((7, 7), np.uint8), iterations=2) > 0
    if share < _LEAST_SHARE or not inner.any():
        return 0.0
    edge = _edge_strength(lab)
    grown = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8))
    border = grown > cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8))
    outlined = (float(edge[border].mean()) - float(edge[inner].mean())) / _FULL_OUTLINE
    contrast = float(_fine_contrast(lab)[inner].mean()) / _FULL_CONTRAST
    colours = lab[inner]
    green_or_blue = (colours[:, 1] < -12) | (colours[:, 2] < -18)
    cold = float((green_or_blue | ((colours[:, 1] > 20) & (colours[:, 2] < 0))).mean())
    return float(np.clip(min(outlined, contrast, 1.0 - cold), 0.0, 1.0))


def _edge_strength(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Strength of the change of colour at each pixel, Lab units per px, limited."""
    rightward, downward = edge_fields(lab)
    squares = cv2.transform(rightward * rightward + downward * downward, np.ones((1, 3), np.float32))
    return np.asarray(np.minimum(np.sqrt(squares), _EDGE_LIMIT), np.float32)


def _fine_contrast(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Standard deviation of lightness over 3 x 3 pixels (rows, columns)."""
    lightness = lab[..., 0]
    variance = cv2.blur(lightness**2, (3, 3)) - cv2.blur(lightness, (3, 3)) ** 2
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), np.float32)


def find_alone_dish(spec: VesselSpec, picture: LitPicture) -> tuple[NDArray[np.bool_], float]:
    """Mask, as of ``find_alone``, of the one dish near the middle of such a picture, and how sure it is (0-1)."""
    del spec  # a dish without a label has no known scale
    rows, columns = picture.rgb.shape[0] // 2, picture.rgb.shape[1] // 2
    lab = to_lab(picture.resized((rows, columns)))
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
