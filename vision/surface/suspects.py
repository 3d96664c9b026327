"""Patches of a face whose colour is neither substrate nor mycelium: where, how large, which plain colour word."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import Kind
from vision.pixels import linear_to_srgb

#: Smallest patch worth telling, cm2 of face: below it lie spawn grains, chips and noise. On agar nothing else is small.
MIN_AREA_CM2 = 0.4
MIN_AREA_PLATE_CM2 = 0.2
#: A patch begins where its probability is above this, must reach ``PEAK_PROBABILITY`` somewhere, and is told from
#: ``LEAST_SCORE`` on. What the three together miss and flag falsely is measured by ``benchmarks.contamination`` and
#: stands in ``calibration/suspect_scores.toml``.
EDGE_PROBABILITY = 0.6
PEAK_PROBABILITY = 0.9
LEAST_SCORE = 0.75

#: A young mould is white before its colour comes; that edge is the mould's (common practice, no source). On agar the
#: percent is nearest with so much, of 4 to 7 mm tried on seven moulds of rendered plates.
PALE_EDGE_ON_AGAR_MM = 6.0
#: On other substrates the segmenter tells part of the edge by itself: there so much is best over rendered scenes with
#: moulds whose colour lags by 4 and by 8 mm. More is better for the late ones alone, at the others' cost.
PALE_EDGE_MM = 3.0

#: Plain words for the colours a mould shows.
COLOUR_WORDS = ("green", "blue-green", "black", "grey", "pink-orange", "yellow")


@dataclass(frozen=True, eq=False)
class Anomaly:
    """One patch that may be contamination.

    colour: one of ``COLOUR_WORDS``; mask: bool (H, W), True on the patch; taken: the same with its white edge;
    area_cm2: of the patch, on the face; score: 0-1, the mean probability of foreign colour over the patch, less for a
    patch hardly larger than the smallest told.
    """

    colour: str
    mask: NDArray[np.bool_]
    taken: NDArray[np.bool_]
    area_cm2: float
    score: float


def find_anomalies(
    linear_rgb: NDArray[np.float32],
    coloured: NDArray[np.float32],
    mycelium: NDArray[np.float32],
    px_per_mm: float,
    *,
    kind: Kind,
    referenced: bool,
) -> tuple[Anomaly, ...]:
    """Patches where the probability ``coloured`` (H, W) of a foreign colour is high, largest first.

    ``linear_rgb`` (H, W, 3) names their colour; if it is not ``referenced``, mycelium is taken for white.
    """
    least_cm2 = MIN_AREA_PLATE_CM2 if kind == "plate" else MIN_AREA_CM2
    edge_px = (PALE_EDGE_ON_AGAR_MM if kind == "plate" else PALE_EDGE_MM) * px_per_mm
    candidates = (coloured > EDGE_PROBABILITY).astype(np.uint8)
    if not candidates.any():
        return ()
    count, labels, stats, _ = cv2.connectedComponentsWithStats(candidates, connectivity=8)
    white = np.ones(3) if referenced else _white_of_mycelium(linear_rgb, mycelium)
    found = []
    for label in range(1, count):
        area_cm2 = float(stats[label, cv2.CC_STAT_AREA]) / px_per_mm**2 / 100
        if area_cm2 < least_cm2:
            continue
        left, top, width, height = (int(value) for value in stats[label, :4])
        box = slice(top, top + height), slice(left, left + width)
        there = labels[box] == label
        probability = coloured[box][there]
        if probability.max() < PEAK_PROBABILITY:
            continue
        score = float(probability.mean()) * area_cm2 / (area_cm2 + 0.25 * least_cm2)
        if score < LEAST_SCORE:
            continue
        colour = colour_word(np.median(linear_rgb[box][there], axis=0) / white)
        mask = np.zeros(labels.shape, bool)
        mask[box] = there
        found.append(Anomaly(colour, mask, _with_pale_edge(mask, mycelium, edge_px), area_cm2, score))
    return tuple(sorted(found, key=lambda anomaly: -anomaly.area_cm2))


def _with_pale_edge(mask: NDArray[np.bool_], mycelium: NDArray[np.float32], edge_px: float) -> NDArray[np.bool_]:
    """A patch and what looks like mycelium close around it."""
    away = cv2.distanceTransform(1 - mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    return np.asarray(mask | ((away <= edge_px) & (mycelium > 0.5)))


def colour_word(linear_rgb: NDArray[np.floating]) -> str:
    """Plain word for one colour (3,) in linear light, 1.0 = matt white.

    Hue is the angle in CIELAB (CIE 15); the borders between words are our own.
    """
    from skimage.color import rgb2lab  # slow to load, and seldom needed

    lightness, a, b = rgb2lab(linear_to_srgb(linear_rgb)[None, None])[0, 0]
    chroma = float(np.hypot(a, b))
    hue = float(np.degrees(np.arctan2(b, a))) % 360
    if lightness < 18 or (chroma < 7 and lightness < 35):
        return "black"
    if chroma < 7:
        return "grey"
    if hue < 72 or hue >= 320:
        return "pink-orange"
    if hue < 108:
        return "yellow"
    return "green" if hue < 168 else "blue-green"


def _white_of_mycelium(linear_rgb: NDArray[np.float32], mycelium: NDArray[np.float32]) -> NDArray[np.floating]:
    """What white would be in a picture without a label (3,): a little lighter than the mycelium, where there is any."""
    sure = mycelium > 0.9
    if sure.sum() < 200:
        return np.full(3, max(float(np.quantile(linear_rgb, 0.95)), 0.05))
    return np.asarray(np.maximum(np.median(linear_rgb[sure], axis=0) / 0.8, 0.01))
