"""Examples to train on and to be judged by: planes of a face, what is known of it, and its truth."""

from dataclasses import dataclass, replace
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from torch import Tensor

from calibration import vessel_kinds
from training.segmenter.faces import DrawnFace
from training.segmenter.scenes import SceneFace, outlined
from training.segmenter.substrates import PX_PER_MM
from training.segmenter.view import COLONISED, CONTAMINATED, COVERED
from vision.surface.bare_substrate import Baseline, learn_baseline, log_light
from vision.surface.segmenter_input import FacePlanes, face_planes

#: Whose drawing a face is: this project's own (drawn or rendered), or the second maker's.
Hand = Literal["own", "second"]
#: Side of the windows of faces that are learned from, px of the planes.
WINDOW_PX = 160
#: Planes of the truth: shares of each pixel that are so.
TRUTHS = ("colonised", "contaminated", "coloured", "veiled", "covered")


@dataclass(frozen=True, eq=False)
class Example:
    """One face for the network, held small: half floats, and truth as shares in bytes, (5, h, w).

    fully_labelled: whether the truth of ``veiled`` is known as well. hand: whose drawing it is.
    """

    kind: str
    referenced: bool
    logs: NDArray[np.float16]
    detail: NDArray[np.float16]
    within: NDArray[np.uint8]
    truth: NDArray[np.uint8]
    baseline: Baseline | None
    fully_labelled: bool
    hand: Hand = "own"


@dataclass(frozen=True, eq=False)
class Batch:
    """Tensors of several examples padded to one size. second: 1 where the second hand drew the face, else 0."""

    planes: Tensor
    facts: Tensor
    truth: Tensor
    within: Tensor
    fully_labelled: Tensor
    second: Tensor


def drawn_example(face: DrawnFace) -> Example:
    """Make an example of a drawn face, at the scale at which the program cuts a face out of a photo."""
    px_per_mm = min(PX_PER_MM, vessel_kinds()[face.kind].face_px_per_mm)
    size = tuple(round(side * px_per_mm / PX_PER_MM) for side in face.inside.shape[::-1])

    def seen(plane: NDArray[Any]) -> NDArray[Any]:
        small = cv2.resize(plane.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        return small > 0.5 if plane.dtype == np.bool_ else small

    inside = seen(face.inside)
    baseline = None
    if face.bare_rgb is not None:
        baseline = learn_baseline(seen(face.bare_rgb), inside, referenced=face.referenced)
    truth = tuple(seen(plane) for plane in (face.colonised, face.contaminated, face.coloured, face.veiled))
    truth = (*truth, np.zeros_like(inside))
    return _example(seen(face.linear_rgb), inside, px_per_mm, face.kind, face.referenced, baseline, truth, True)


def scene_example(face: SceneFace, hand: Hand = "own", *, loosened_mm: float = 0.0) -> Example:
    """Make an example of a face from a scene; what shows colour is judged here, what is veiled is not known.

    It is shown within the program's outline, made larger by loosened_mm, or within its true one where that is not
    known.
    """
    contaminated = face.classes == 3
    held = outlined(face.classes, face.px_per_mm)
    if face.outline is not None:
        held = loosened(face.outline, loosened_mm * face.px_per_mm) & (face.classes != 4)
    covered = held & ~face.inside
    truth = (face.classes == 2, contaminated, contaminated & _tinted(face), np.zeros_like(contaminated), covered)
    example = _example(face.linear_rgb, held, face.px_per_mm, face.kind, face.referenced, face.baseline, truth, False)
    return replace(example, hand=hand)


def loosened(mask: NDArray[np.bool_], reach_px: float) -> NDArray[np.bool_]:
    """The mask made larger by a distance."""
    if reach_px < 1:
        return mask
    side = 2 * round(reach_px) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    return np.asarray(cv2.dilate(mask.astype(np.uint8), disc) > 0)


#: Distance from the hue of mycelium, in logarithms of colour ratios, above which contamination counts as coloured. At
#: this value the areas agree with those that the scenes' truth tells of green moulds (within 5 % from 1 cm2 on).
TINTED_ABOVE = 0.15
#: Black and grey moulds have no hue: they count as coloured where they are darker than mycelium by this much (natural
#: log). A pale margin is darker by 0.1; grey powder by 1.3.
DARKER_BY = 0.6


def _tinted(face: SceneFace) -> NDArray[np.bool_]:
    """Where colour, smoothed over 2 mm, differs from that of the mycelium; everywhere where there is none."""
    mycelium = face.classes == 2
    if mycelium.sum() < 200:
        return np.ones(mycelium.shape, np.bool_)
    side = round(2 * face.px_per_mm) | 1
    red, green, blue = cv2.split(log_light(np.asarray(cv2.blur(face.linear_rgb, (side, side)), np.float32)))
    ratios = np.dstack([green - red, blue - green])
    hue = np.linalg.norm(ratios - np.median(ratios[mycelium], axis=0), axis=2) > TINTED_ABOVE
    return np.asarray(hue | (green < np.median(green[mycelium]) - DARKER_BY))


def _example(
    linear_rgb: NDArray[np.float32],
    inside: NDArray[np.bool_],
    px_per_mm: float,
    kind: str,
    referenced: bool,
    baseline: Baseline | None,
    truth: tuple[NDArray[np.bool_], ...],
    fully_labelled: bool,
) -> Example:
    planes = face_planes(linear_rgb, inside, px_per_mm)
    size = planes.within.shape[::-1]
    shares = [cv2.resize((t & inside).astype(np.float32), size, interpolation=cv2.INTER_AREA) for t in truth]
    return Example(
        kind,
        referenced,
        planes.logs.astype(np.float16),
        planes.detail.astype(np.float16),
        (255 * planes.within).astype(np.uint8),
        (255 * np.stack(shares)).astype(np.uint8),
        baseline,
        fully_labelled,
    )


def planes_of(example: Example) -> FacePlanes:
    """Give back the planes of an example."""
    within = example.within.astype(np.float32) / np.float32(255)
    return FacePlanes(example.logs.astype(np.float32), example.detail.astype(np.float32), within)


def bare_centre(example: Example) -> NDArray[np.float32]:
    """Median logarithm (3,) of a face's bare parts, less the usual light; 0 where hardly anything is bare."""
    bare = (example.within > 200) & (example.truth[[COLONISED, CONTAMINATED, COVERED]].max(axis=0) < 10)
    if bare.sum() <= 50:
        return np.zeros(3, np.float32)
    return np.asarray(np.median(example.logs[bare].astype(np.float32), axis=0), np.float32)
