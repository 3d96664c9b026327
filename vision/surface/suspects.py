"""Find patches of something that is neither substrate nor mycelium: mask, area, and a plain colour word."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import Kind, vessel_kinds
from vision.pixels import box_of, to_lab

#: Smallest patch that is reported, cm2 of face; smaller ones are mostly spawn grains, chips and noise. Agar is clean,
#: so less is enough on plates.
MIN_AREA_CM2 = 0.4
MIN_AREA_PLATE_CM2 = 0.2


@dataclass(frozen=True)
class Evidence:
    """What a suspect needs: a probability above ``edge`` all over, and above ``peak`` somewhere."""

    edge: float
    peak: float


#: For growth that is neither substrate nor mycelium, and for a colour that is neither's: either is enough. The first
#: knows looks that have no colour but only those it was shown; the second knows colours that it was not shown.
GROWTH, COLOUR = Evidence(0.25, 0.5), Evidence(0.6, 0.9)
#: Least score of a suspect, with a label and without one, when light is a guess and the network less sure. The first
#: was chosen on 47 scenes that no network had learned from: of 94 due patches 72 have it and 2 of 344 clean readings
#: (72 and 4 have 0.7, 70 and 1 have 0.85). There were too few without a label to choose by, so that one stayed. A
#: farm's ``suspect_score`` can ask for more. ``benchmarks.contamination`` measures what is missed and falsely flagged:
#: ``calibration/suspect_scores.toml``.
LEAST_SCORE, LEAST_SCORE_UNLABELLED = 0.8, 0.7

#: Plain words for the colours of moulds.
COLOUR_WORDS = ("green", "blue-green", "black", "grey", "white", "pink-orange", "yellow")
#: Hue (CIELAB, degrees) from which orange is called yellow: half way from "orange" (73) to "goldenrod" (83), two named
#: colours of CSS Color Module Level 4.
_YELLOW_FROM_HUE = 78.0
#: Lightness (CIELAB) from which grey is called white: half way from "darkgray" (69) to "lightgray" (85) of the same.
_WHITE_FROM_LIGHTNESS = 77.0


@dataclass(frozen=True, eq=False)
class SuspectPatch:
    """One patch that may be contamination.

    colour: one of ``COLOUR_WORDS``. mask: bool (H, W), True on the patch. area_cm2: of the patch on the face. score:
    0-1, the mean probability of foreign growth over the patch, reduced for patches close to the smallest size.
    """

    colour: str
    mask: NDArray[np.bool_]
    area_cm2: float
    score: float


def may_be_suspect(foreign: Sequence[NDArray[np.float32]]) -> bool:
    """Whether some point's probability, of those that ``find_suspect_patches`` takes, is high enough for a patch."""
    return any(float(plane.max()) > rule.edge for plane, rule in zip(foreign, (GROWTH, COLOUR), strict=True))


def find_suspect_patches(
    linear_rgb: NDArray[np.float32],
    foreign: Sequence[NDArray[np.float32]],
    mycelium: NDArray[np.float32],
    px_per_mm: float,
    *,
    kind: Kind,
    referenced: bool,
) -> tuple[SuspectPatch, ...]:
    """Patches of something that is neither substrate nor mycelium, largest first.

    ``foreign``: probabilities (H, W) of foreign growth and of a foreign colour, judged by ``GROWTH`` and ``COLOUR``.
    ``linear_rgb`` (H, W, 3) gives their colour word; if it is not ``referenced``, mycelium serves as the white point.
    """
    least_cm2 = MIN_AREA_PLATE_CM2 if vessel_kinds()[kind].is_dish else MIN_AREA_CM2
    least_score = LEAST_SCORE if referenced else LEAST_SCORE_UNLABELLED
    told = list(zip(foreign, (GROWTH, COLOUR), strict=True))
    candidates = np.logical_or(*(plane > rule.edge for plane, rule in told))
    if not candidates.any():
        return ()
    rows, columns = box_of(candidates)
    looked_at = candidates[rows, columns].astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(looked_at, connectivity=8)
    white = np.ones(3) if referenced else _white_of_mycelium(linear_rgb, mycelium)
    found = []
    for label in range(1, count):
        left, top, width, height = (int(value) for value in stats[label, :4])
        there = labels[top : top + height, left : left + width] == label
        top, left = top + rows.start, left + columns.start
        box = slice(top, top + height), slice(left, left + width)
        score = max(_score(plane[box][there], rule, px_per_mm, least_cm2) for plane, rule in told)
        if score < least_score:
            continue
        colour = colour_word(np.median(linear_rgb[box][there], axis=0) / white)
        mask = np.zeros(candidates.shape, bool)
        mask[box] = there
        area_cm2 = float(stats[label, cv2.CC_STAT_AREA]) / px_per_mm**2 / 100
        found.append(SuspectPatch(colour, mask, area_cm2, score))
    return tuple(sorted(found, key=lambda suspect: -suspect.area_cm2))


def _score(probability: NDArray[np.float32], rule: Evidence, px_per_mm: float, least_cm2: float) -> float:
    """Score of a patch whose points have these probabilities, 0 if the rule does not take it for a suspect."""
    sure = probability[probability > rule.edge]
    area_cm2 = sure.size / px_per_mm**2 / 100
    if area_cm2 < least_cm2 or sure.max() < rule.peak:
        return 0.0
    return float(sure.mean()) * area_cm2 / (area_cm2 + 0.25 * least_cm2)


def colour_word(linear_rgb: NDArray[np.floating]) -> str:
    """Plain word for one colour (3,) in linear light, 1.0 = matt white.

    Hue is the CIELAB angle (CIE 15); the limits between words are our own choice.
    """
    lightness, a, b = to_lab(np.asarray(linear_rgb, np.float32)[None, None])[0, 0]
    chroma = float(np.hypot(a, b))
    hue = float(np.degrees(np.arctan2(b, a))) % 360
    if lightness < 18 or (chroma < 7 and lightness < 35):
        return "black"
    if chroma < 7:
        return "white" if lightness > _WHITE_FROM_LIGHTNESS else "grey"
    if hue < _YELLOW_FROM_HUE or hue >= 320:
        return "pink-orange"
    if hue < 108:
        return "yellow"
    return "green" if hue < 168 else "blue-green"


def _white_of_mycelium(linear_rgb: NDArray[np.float32], mycelium: NDArray[np.float32]) -> NDArray[np.floating]:
    """White point (3,) for a picture without a label: slightly brighter than the mycelium, if there is any."""
    sure = mycelium > 0.9
    if sure.sum() < 200:
        return np.full(3, max(float(np.quantile(linear_rgb, 0.95)), 0.05))
    return np.asarray(np.maximum(np.median(linear_rgb[sure], axis=0) / 0.8, 0.01))
