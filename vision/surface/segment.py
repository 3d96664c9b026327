"""Where on one rectified face is mycelium, where is the surface veiled, and how much is colonised."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import Kind
from vision.surface.bare_substrate import Baseline
from vision.surface.network import decided, run_network
from vision.surface.network_input import INPUT_PX_PER_MM, face_facts, face_planes, stack_planes
from vision.surface.suspects import Anomaly, find_anomalies

#: Probability of a veil above which a point counts as veiled.
VEILED_ABOVE = 0.4
#: Width of the surroundings that say what lies under a veil, mm.
SURROUNDINGS_MM = 15.0
#: How far the bounds reach, in points: what is always doubtful, and what each point of undecided or hidden face adds.
#: Fitted so that at least 80 % hold on scenes that neither network has learned from (0.82 in all, 0.64 on the worst),
#: and not many more on those that they have (0.89); see benchmarks/RESULTS.md.
LEAST_REACH = 0.6
REACH_PER_UNDECIDED = 0.45
REACH_PER_HIDDEN = 0.3
#: By how much wider they are where the vessel's bare substrate is not known: so wide that they hold on photographs of
#: other things too (tests/outside).
REACH_WITHOUT_BASELINE = 1.5


@dataclass(frozen=True, eq=False)
class FaceSegmentation:
    """What was seen at each point of a face.

    mycelium: float32 (H, W), 0-1, probability that the point is colonised; 0 outside.
    veiled: bool (H, W), True where glare or condensation hides the surface; the probability there is an estimate from
    what surrounds it.
    anomalies: patches of foreign colour, largest first; their points count as not colonised.
    baseline_used: whether the vessel's own bare substrate was known; without it the bounds are wider.
    """

    mycelium: NDArray[np.float32]
    veiled: NDArray[np.bool_]
    anomalies: tuple[Anomaly, ...]
    baseline_used: bool = True


@dataclass(frozen=True)
class Coverage:
    """Colonised share of a face; all percents, 0-100.

    low and high: 80 % bounds; hidden_percent: share under glare or condensation; undecided_percent: mean distance of
    the decision from certainty, 0 when every point is clear, 50 when none is.
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
    """Say for each point of a rectified face how likely it is colonised, and which are veiled or foreign.

    ``linear_rgb`` (H, W, 3) is linear light, 1.0 = a perfect matt white under the label's light if ``referenced``;
    else exposure and white balance are a guess. ``inside`` is True on visible substrate surface, bare or colonised.
    ``baseline``: the bare substrate of this vessel; None reads the picture alone. One that is not referenced like the
    picture is left out.
    """
    if linear_rgb.shape != (*inside.shape, 3):
        msg = f"linear_rgb {linear_rgb.shape} must be inside's shape {inside.shape} with three channels"
        raise ValueError(msg)
    if not inside.any():
        nothing = np.zeros(inside.shape, np.float32)
        return FaceSegmentation(nothing, nothing > 0, ())
    known = baseline if baseline is not None and baseline.referenced == referenced else None
    planes = face_planes(linear_rgb, inside, px_per_mm)
    facts = face_facts(planes, plate=kind == "plate", baseline=known, referenced=referenced)
    found = run_network(stack_planes(planes, known), facts)
    colonised = _under_veil(decided(found.colonised), found.veiled > VEILED_ABOVE, planes.within)
    mycelium, coloured, veiled = (_at_full_size(plane, inside) for plane in (colonised, found.coloured, found.veiled))
    anomalies = find_anomalies(linear_rgb, coloured, mycelium, px_per_mm, kind=kind, referenced=referenced)
    for anomaly in anomalies:
        mycelium[anomaly.taken] = np.minimum(mycelium[anomaly.taken], 0.5)
    return FaceSegmentation(mycelium, veiled > VEILED_ABOVE, anomalies, baseline_used=known is not None)


def _under_veil(
    colonised: NDArray[np.float32], veiled: NDArray[np.bool_], within: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Estimate what lies under a veil, at the planes' scale: no more than what is seen around it says."""
    if not veiled.any():
        return colonised
    seen = (within * ~veiled).astype(np.float32)
    side = round(SURROUNDINGS_MM * INPUT_PX_PER_MM) | 1
    weight = cv2.blur(seen, (side, side))
    around = cv2.blur(seen * colonised, (side, side)) / np.maximum(weight, 1e-6)
    return np.where(veiled & (weight > 0.02), np.minimum(colonised, around), colonised).astype(np.float32)


def coverage(segmentation: FaceSegmentation, inside: NDArray[np.bool_]) -> Coverage:
    """Colonised percent of a face, with 80 % bounds.

    Points under a veil count with what their surroundings say, and the bounds widen by the share that was hidden.
    """
    points = np.count_nonzero(inside)
    if points == 0:
        return Coverage(0.0, 0.0, 100.0, 100.0, 50.0)
    percent = 100 * np.count_nonzero((segmentation.mycelium > 0.5) & inside) / points
    hidden = 100 * np.count_nonzero(segmentation.veiled & inside) / points
    # min(p, 1 - p) of a probability, summed without its list of points: half less its distance from a half.
    decided_by = np.vdot(inside.astype(np.float32), np.abs(segmentation.mycelium - np.float32(0.5)))
    undecided = 50 - 100 * float(decided_by) / points
    reach = LEAST_REACH + REACH_PER_UNDECIDED * undecided + REACH_PER_HIDDEN * hidden
    reach *= 1.0 if segmentation.baseline_used else REACH_WITHOUT_BASELINE
    return Coverage(percent, max(0.0, percent - reach), min(100.0, percent + reach), hidden, undecided)


def _at_full_size(plane: NDArray[np.float32], inside: NDArray[np.bool_]) -> NDArray[np.float32]:
    large = cv2.resize(plane, inside.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.where(inside, large, np.float32(0))
