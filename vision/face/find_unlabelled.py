"""Find the single vessel in a picture without a label."""

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import vessel_kinds
from vision.face.find_labelled import Upright, find_upright, one_shape, outline_confidence
from vision.face.frame import Frame, frame_at
from vision.face.outline_network import Sides, outline_logits, outline_planes
from vision.face.ring import edge_fields, ellipse_of, roundness
from vision.pixels import LinearPicture, to_lab
from vision.records import VesselSpec, kind_of

#: Rows of the network's input on which a vessel is first searched; the picture passed in has twice as many.
ALONE_ROWS = 192
#: Usual share of the picture's height that the vessel fills.
_USUAL_SHARE = 0.55
#: Shapes that fill less than this share of the picture are rejected.
_MIN_SHARE = 0.03
#: Distance from the centre of a vessel to the sides of its frame, in units of its usual size.
_REACH = 0.75
#: Edge strength of the outline above the inside's (Lab units per px), and fine contrast (Lab units), that score 1.
_FULL_OUTLINE, _FULL_CONTRAST = 1.5, 4.5
_EDGE_LIMIT = 10.0


def find_unlabelled(spec: VesselSpec, picture: LinearPicture) -> tuple[NDArray[np.bool_], float]:
    """Mask of the one vessel in a picture, at half its size, and its confidence (0-1).

    The picture has ``2 * ALONE_ROWS`` rows and an even number of columns. A dish must be round.
    """
    rows, columns = picture.rgb.shape[0] // 2, picture.rgb.shape[1] // 2
    label, seen = np.zeros((rows, columns), np.float32), np.ones((rows, columns), np.float32)
    logits = outline_logits(outline_planes(picture.light(), label, seen, alone_sides(spec, (rows, columns))))
    shape = one_shape(logits)
    if vessel_kinds()[spec.kind].is_dish:
        likeness = roundness(shape)
    else:
        likeness = _likeness(to_lab(picture.resized((rows, columns))), shape)
    return shape, float(np.sqrt(outline_confidence(logits, shape, seen > 0) * likeness))


def alone_sides(spec: VesselSpec, shape: tuple[int, int]) -> Sides:
    """Usual left, top, right and bottom, px, of the face of the single vessel in a picture (rows, columns)."""
    kind = kind_of(spec)
    height = _USUAL_SHARE * shape[0]
    width = height * kind.face_width_mm / kind.face_height_mm
    middle = (shape[1] / 2, shape[0] / 2)
    return middle[0] - width / 2, middle[1] - height / 2, middle[0] + width / 2, middle[1] + height / 2


def frame_around(spec: VesselSpec, middle: NDArray[np.float64], width_px: float) -> tuple[Frame, Sides]:
    """Frame of an unlabelled face with this centre (column, row) and width in a photo; its usual position in it, mm."""
    kind = kind_of(spec)
    across, down = kind.face_width_mm, kind.face_height_mm
    box = (-_REACH * across, -_REACH * down, 2 * _REACH * across, 2 * _REACH * down)
    frame = frame_at(middle, 0.0, width_px / across, box, kind.face_px_per_mm)
    left, top = (_REACH - 0.5) * across, (_REACH - 0.5) * down
    return frame, (left, top, left + across, top + down)


def refine_unlabelled(
    spec: VesselSpec, picture: LinearPicture, seen: NDArray[np.bool_], usual_mm: Sides, px_per_mm: float
) -> NDArray[np.bool_]:
    """Mask of a face, searched again in the frame around its first position; a dish's is an ellipse."""
    outline = find_upright(Upright(spec, picture, seen, np.zeros_like(seen), px_per_mm, usual_mm))[0]
    return ellipse_of(outline) if vessel_kinds()[spec.kind].is_dish else outline


def _likeness(lab: NDArray[np.float32], mask: NDArray[np.bool_]) -> float:
    """How much a shape looks like a vessel with substrate, 0-1: clear outline, fine contrast, earthy or white colour.

    Smooth boxes and walls have no fine contrast, noise has no outline, bottles and tools have strong cold colours.
    """
    share = float(mask.mean())
    inner = cv2.erode(mask.astype(np.uint8), np.ones((7, 7), np.uint8), iterations=2) > 0
    if share < _MIN_SHARE or not inner.any():
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
    """Magnitude of the colour gradient at each pixel, Lab units per px, at most ``_EDGE_LIMIT``."""
    rightward, downward = edge_fields(lab)
    squares = cv2.transform(rightward * rightward + downward * downward, np.ones((1, 3), np.float32))
    return np.asarray(np.minimum(np.sqrt(squares), _EDGE_LIMIT), np.float32)


def _fine_contrast(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Standard deviation of lightness over 3 x 3 pixels (rows, columns)."""
    lightness = lab[..., 0]
    variance = cv2.blur(lightness**2, (3, 3)) - cv2.blur(lightness, (3, 3)) ** 2
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), np.float32)
