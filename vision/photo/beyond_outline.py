"""Patches that go on beyond a face's outline: no growth, but what the outline took in, as glass above grain."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels import LinearPicture, box_of, to_lab
from vision.surface import FaceSegmentation, SuspectPatch

#: A patch may be such a thing if it runs along the outline for at least this many times its size (square root of area).
_ALONG = 3.0
#: It is one if its colour there differs by less than this from what lies beyond (CIELAB): an eye hardly sees that.
_SAME_COLOUR = 3.0
#: What is compared lies this far from the outline, mm: nearer, both sides are blurred into each other.
_FROM_MM, _TO_MM = 1.0, 5.0
#: Fewest pixels on either side that are compared.
_FEWEST_PX = 20


def without_what_goes_on(
    seen: FaceSegmentation,
    scene: LinearPicture,
    inside: NDArray[np.bool_],
    beyond: NDArray[np.bool_],
    px_per_mm: float,
) -> tuple[FaceSegmentation, NDArray[np.bool_]]:
    """The segmentation without suspects that go on beyond the outline, and ``inside`` without their points.

    scene: picture of the frame; inside: True on the surface; beyond: True where the photo shows what is not the face,
    its label aside; all (H, W). A mould ends where the vessel ends; the empty glass above a jar's grain, or a box seen
    through a bag's empty film, looks the same on both sides of an outline that takes part of it in.
    """
    wrong = [patch for patch in seen.suspects if _goes_on(patch, scene, beyond, px_per_mm)]
    if not wrong:
        return seen, inside
    kept = tuple(patch for patch in seen.suspects if patch not in wrong)
    surface = inside & ~np.any([patch.mask for patch in wrong], axis=0)
    return replace(seen, suspects=kept), surface


def _goes_on(patch: SuspectPatch, scene: LinearPicture, beyond: NDArray[np.bool_], px_per_mm: float) -> bool:
    part = box_of(patch.mask, round((_TO_MM + 1) * px_per_mm))
    mask, outside = patch.mask[part], beyond[part]
    at_edge = mask & _within(outside, _FROM_MM * px_per_mm)
    along_mm = np.count_nonzero(at_edge) / px_per_mm**2 / _FROM_MM
    if along_mm < _ALONG * np.sqrt(100 * patch.area_cm2):
        return False
    here = mask & ~at_edge & _within(outside, _TO_MM * px_per_mm)
    there = outside & ~_within(~outside, _FROM_MM * px_per_mm) & _within(mask, _TO_MM * px_per_mm)
    if min(np.count_nonzero(here), np.count_nonzero(there)) < _FEWEST_PX:
        return False
    lab = to_lab(scene.light(part))
    return bool(np.linalg.norm(np.median(lab[here], axis=0) - np.median(lab[there], axis=0)) < _SAME_COLOUR)


def _within(mask: NDArray[np.bool_], reach_px: float) -> NDArray[np.bool_]:
    """True at most so far from a mask's points."""
    if not mask.any():
        return np.zeros(mask.shape, np.bool_)
    away = cv2.distanceTransform((~mask).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_3)
    return np.asarray(away <= reach_px)
