"""Colour against published figures.

CIEDE2000: the 34 pairs of Sharma, Wu and Dalal, Color Research and Application 30(1):21-30, 2005, table 1 (read in the
test data of scikit-image, BSD-3-Clause). Chart: the 8-bit sRGB values that follow from the chart maker's Lab figures of
before November 2014, as computed with colour-science 0.4.7 (Bradford adaptation to D65).
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from calibration import NEUTRALS, chart_light, chart_patches, lab_of_light
from tests.outside.conftest import Tell

PAIRS = list(csv.DictReader((Path(__file__).parent / "ciede2000_pairs.csv").read_text().splitlines()))
#: The table prints four decimals.
PRINTED = 0.5e-4
SRGB8_BEFORE_2014 = [
    (115, 81, 67), (199, 147, 129), (91, 122, 156), (90, 108, 64), (130, 128, 176), (92, 190, 172),
    (224, 124, 47), (68, 91, 170), (198, 82, 97), (94, 58, 106), (159, 189, 63), (230, 162, 39),
    (35, 63, 147), (67, 149, 74), (180, 49, 57), (238, 198, 20), (193, 84, 151), (0, 136, 170),
    (245, 245, 243), (200, 202, 202), (161, 163, 163), (121, 121, 122), (82, 84, 86), (49, 49, 51),
]  # fmt: skip


def srgb8(light: np.ndarray) -> np.ndarray:
    value = np.clip(light, 0, 1)
    curve = 1.055 * np.maximum(value, 1e-9) ** (1 / 2.4) - 0.055
    return np.asarray(255 * np.where(value <= 0.0031308, 12.92 * value, curve))


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: f"{pair['l1']},{pair['a1']},{pair['b1']}")
def test_the_colour_difference_equals_the_published_one(pair: dict[str, str]) -> None:
    one = np.array([float(pair[name]) for name in ("l1", "a1", "b1")])
    other = np.array([float(pair[name]) for name in ("l2", "a2", "b2")])
    for first, second in ((one, other), (other, one)):
        assert float(deltaE_ciede2000(first, second)) == pytest.approx(float(pair["difference"]), abs=PRINTED)


def test_there_are_34_pairs(tell: Tell) -> None:
    assert len(PAIRS) == 34
    ends = [[np.array([float(pair[f"{axis}{end}"]) for axis in "lab"]) for end in "12"] for pair in PAIRS]
    printed = [float(pair["difference"]) for pair in PAIRS]
    off = max(abs(float(deltaE_ciede2000(*both)) - said) for both, said in zip(ends, printed, strict=True))
    source = "Sharma, Wu and Dalal 2005, Color Res. Appl. 30(1), table 1"
    tell("CIEDE2000, 34 pairs, largest difference", source, "below 0.00005", f"{off:.6f}")


def test_the_light_of_the_chart_follows_from_the_published_lab(tell: Tell) -> None:
    off = np.abs(srgb8(chart_light("before_2014")) - np.array(SRGB8_BEFORE_2014)).max()
    assert off <= 0.51
    source = "the chart maker's Lab figures, through colour-science 0.4.7"
    tell("24-patch chart, sRGB levels, largest difference", source, "below 0.51", f"{off:.2f}")


@pytest.mark.parametrize(
    ("srgb", "lab"),
    # Widely printed figures of the sRGB primaries, D65, as colour-science 0.4.7 computes them.
    [((1, 0, 0), (53.233, 80.111, 67.224)), ((0, 1, 0), (87.74, -86.18, 83.18)), ((0, 0, 1), (32.30, 79.19, -107.86))],
)
def test_lab_of_the_primaries(srgb: tuple[int, int, int], lab: tuple[float, float, float]) -> None:
    assert lab_of_light(np.array(srgb, float)) == pytest.approx(lab, abs=0.02)


def test_the_two_editions_differ_as_published() -> None:
    """CIEDE2000 between them is 0.85 in the mean and 1.95 at most, in white (computed with colour-science 0.4.7)."""
    before, since = (np.array([one.lab for one in chart_patches(name)]) for name in ("before_2014", "since_2014"))
    differences = deltaE_ciede2000(before, since)
    assert differences.mean() == pytest.approx(0.85, abs=0.005)
    assert differences.max() == pytest.approx(1.951, abs=0.001)
    assert chart_patches()[int(differences.argmax())].name == "white 9.5"


def test_neutrals_are_ordered_from_white_to_black() -> None:
    light = chart_light()[NEUTRALS].mean(axis=1)
    assert (np.diff(light) < 0).all()
    assert [patch.name for patch in chart_patches()[NEUTRALS]] == [
        "white 9.5", "neutral 8", "neutral 6.5", "neutral 5", "neutral 3.5", "black 2",
    ]  # fmt: skip
