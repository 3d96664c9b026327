"""Patches of a face whose colour is neither substrate nor mycelium: where, how large, which plain colour word."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.color import rgb2lab

#: Smallest patch worth telling, cm2 of face; smaller ones are spawn grains, chips and noise.
MIN_AREA_CM2 = 0.3


@dataclass(frozen=True, eq=False)
class Anomaly:
    """One patch that may be contamination.

    colour: plain word, one of ``COLOUR_WORDS``; mask: bool (H, W), True on the patch; area_cm2: on the face;
    score: 0-1, larger is surer.
    """

    colour: str
    mask: NDArray[np.bool_]
    area_cm2: float
    score: float


#: Plain words for the colours a mould shows (see calibration for what each commonly is).
COLOUR_WORDS = ("green", "blue-green", "yellow", "pink-orange", "black", "grey")


def colour_word(linear_rgb: NDArray[np.floating]) -> str:
    """Plain word for the mean colour (3,) of a patch, in linear light.

    Hue is the CIELAB angle (CIE 15:2004); the borders between words are our own and wide of the named moulds.
    """
    lightness, a, b = rgb2lab(_encode(np.clip(linear_rgb, 0, 1))[None, None])[0, 0]
    chroma = float(np.hypot(a, b))
    hue = float(np.degrees(np.arctan2(b, a))) % 360
    if chroma < 6:
        return "black" if lightness < 30 else "grey"
    if hue < 70 or hue >= 320:
        return "pink-orange"
    if hue < 105:
        return "yellow"
    return "green" if hue < 170 else "blue-green"


def find_anomalies(
    linear_rgb: NDArray[np.float32], probability: NDArray[np.float32], px_per_mm: float
) -> tuple[Anomaly, ...]:
    """Patches where ``probability`` (H, W), 0-1, of a foreign colour is above one half, largest first.

    Patches below ``MIN_AREA_CM2`` are left out. The score rises with area and with the mean probability.
    """
    count, labels, stats, _ = cv2.connectedComponentsWithStats((probability > 0.5).astype(np.uint8), connectivity=8)
    found = []
    for label in range(1, count):
        area_cm2 = float(stats[label, cv2.CC_STAT_AREA]) / px_per_mm**2 / 100
        if area_cm2 < MIN_AREA_CM2:
            continue
        mask = labels == label
        score = float(probability[mask].mean()) * area_cm2 / (area_cm2 + MIN_AREA_CM2)
        found.append(Anomaly(colour_word(np.median(linear_rgb[mask], axis=0)), mask, area_cm2, score))
    return tuple(sorted(found, key=lambda anomaly: -anomaly.area_cm2))


def _encode(linear: NDArray[np.floating]) -> NDArray[np.floating]:
    """SRGB encoding (IEC 61966-2-1) of linear light 0-1."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.power(linear, 1 / 2.4) - 0.055)
