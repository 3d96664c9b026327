"""Segment one rectified face: mycelium, veiled surface, suspects; and the colonised percent with its bounds."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import Kind, vessel_kinds
from vision.pixels import box_of
from vision.surface.bare_substrate import Baseline
from vision.surface.segmenter import run_network
from vision.surface.segmenter_input import (
    INPUT_PX_PER_MM,
    face_facts,
    face_planes,
    in_one_exposure,
    stack_planes,
)
from vision.surface.suspects import SuspectPatch, find_suspect_patches, may_be_suspect

#: Probability of glare or condensation above which a point counts as veiled.
VEILED_ABOVE = 0.4
#: Width of the neighbourhood that gives the estimate under glare or condensation, mm.
SURROUNDINGS_MM = 15.0
#: Half width of the bounds, in points: a constant, plus shares of the undecided, doubted and hidden percent. Their
#: proportions are from a fit on 19 scenes of both makers, their size is set so that 84 % of the intervals hold on 43
#: scenes that no network had learned from; see docs/eye.md.
LEAST_HALF_WIDTH = 0.25
HALF_WIDTH_PER_UNDECIDED = 0.75
HALF_WIDTH_PER_DOUBTED = 0.095
HALF_WIDTH_PER_HIDDEN = 0.07


@dataclass(frozen=True, eq=False)
class FaceSegmentation:
    """Segmentation of a face.

    mycelium: float32 (H, W), 0-1, probability that the point is colonised; 0 outside.
    veiled: bool (H, W), True where glare or condensation hides the surface; the probability there is estimated from the
    neighbourhood.
    suspects: patches of foreign growth, largest first; their points count as not colonised.
    doubt_percent: mean of the network's doubt over the face, 0-100.
    """

    mycelium: NDArray[np.float32]
    veiled: NDArray[np.bool_]
    suspects: tuple[SuspectPatch, ...]
    doubt_percent: float = 0.0


@dataclass(frozen=True)
class Coverage:
    """Colonised share of a face; all percents, 0-100.

    low, high: 80 % bounds. hidden_percent: share under glare or condensation. undecided_percent: mean of min(p, 1 - p)
    over the points, 0 if all are certain, 50 if none is.
    """

    percent: float
    low: float
    high: float
    hidden_percent: float
    undecided_percent: float


def segment_face(
    linear_rgb: NDArray[np.float32],
    inside: NDArray[np.bool_],
    px_per_mm: float,
    *,
    kind: Kind,
    baseline: Baseline | None = None,
    referenced: bool = True,
) -> FaceSegmentation:
    """Probability of mycelium at each point of a rectified face, and which points are veiled or foreign.

    ``linear_rgb``: (H, W, 3) linear light, 1.0 = a perfect matt white if ``referenced`` (by a label); otherwise
    exposure and white balance are estimates. ``inside``: True on visible substrate surface, bare or colonised.
    ``baseline``: the vessel's bare substrate, or None; ignored without a label, when its light cannot be compared.
    """
    if linear_rgb.shape != (*inside.shape, 3):
        msg = f"linear_rgb {linear_rgb.shape} must be inside's shape {inside.shape} with three channels"
        raise ValueError(msg)
    if not inside.any():
        nothing = np.zeros(inside.shape, np.float32)
        return FaceSegmentation(nothing, nothing > 0, ())
    known = baseline if baseline is not None and baseline.referenced and referenced else None
    planes = face_planes(linear_rgb, inside, px_per_mm)
    if not referenced:
        planes = in_one_exposure(planes)
    facts = face_facts(planes, plate=vessel_kinds()[kind].is_dish, baseline=known, referenced=referenced)
    found = run_network(stack_planes(planes, known), facts)
    colonised = _estimate_under_veil(found.colonised, found.veiled > VEILED_ABOVE, planes.within)
    mycelium = _at_full_size(colonised, inside)
    is_veiled = bool((found.veiled > VEILED_ABOVE).any())
    veiled = _at_full_size(found.veiled, inside) > VEILED_ABOVE if is_veiled else np.zeros(inside.shape, bool)
    foreign = (found.contaminated, found.coloured)
    suspects: tuple[SuspectPatch, ...] = ()
    if may_be_suspect(foreign):
        large = [_at_full_size(plane, inside) for plane in foreign]
        suspects = find_suspect_patches(linear_rgb, large, mycelium, px_per_mm, kind=kind, referenced=referenced)
    for suspect in suspects:
        mycelium[suspect.mask] = np.minimum(mycelium[suspect.mask], 0.5)
    doubt = 100 * float(np.vdot(found.doubt, planes.within)) / max(1.0, float(planes.within.sum()))
    return FaceSegmentation(mycelium, veiled, suspects, doubt)


def _estimate_under_veil(
    colonised: NDArray[np.float32], veiled: NDArray[np.bool_], within: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Probabilities (at the planes' scale) with veiled points limited to the mean of their visible neighbourhood."""
    if not veiled.any():
        return colonised
    side = round(SURROUNDINGS_MM * INPUT_PX_PER_MM) | 1
    part = box_of(veiled, side)
    there, whole = veiled[part], colonised[part]
    seen = np.asarray(within[part] * ~there, np.float32)
    weight = np.asarray(cv2.blur(seen, (side, side)), np.float32)
    around = np.asarray(cv2.blur(seen * whole, (side, side)), np.float32)
    known = there & (weight > 0.02)
    estimated = colonised.copy()
    estimated[part][known] = np.minimum(whole[known], around[known] / weight[known])
    return estimated


def coverage(segmentation: FaceSegmentation, inside: NDArray[np.bool_]) -> Coverage:
    """Colonised percent of a face, with 80 % bounds.

    Veiled points count with the estimate from their neighbourhood; the bounds widen with the veiled share.
    """
    points = np.count_nonzero(inside)
    if points == 0:
        return Coverage(0.0, 0.0, 100.0, 100.0, 50.0)
    percent = 100 * np.count_nonzero((segmentation.mycelium > 0.5) & inside) / points
    hidden = 100 * np.count_nonzero(segmentation.veiled & inside) / points
    # min(p, 1 - p) = 0.5 - |p - 0.5|, summed over the points without a temporary array.
    decided_by = np.vdot(inside.astype(np.float32), np.abs(segmentation.mycelium - np.float32(0.5)))
    undecided = 50 - 100 * float(decided_by) / points
    reach = (
        LEAST_HALF_WIDTH
        + HALF_WIDTH_PER_UNDECIDED * undecided
        + HALF_WIDTH_PER_DOUBTED * segmentation.doubt_percent
        + HALF_WIDTH_PER_HIDDEN * hidden
    )
    return Coverage(percent, max(0.0, percent - reach), min(100.0, percent + reach), hidden, undecided)


def _at_full_size(plane: NDArray[np.float32], inside: NDArray[np.bool_]) -> NDArray[np.float32]:
    large = cv2.resize(plane, inside.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(cv2.copyTo(large, inside.view(np.uint8)), np.float32)
