"""Patches of foreign colour: words for colours against a published chart, areas against geometry."""

import math

import numpy as np
import pytest

from vision.pixels.colour import srgb_to_linear
from vision.surface.suspects import COLOUR_WORDS, colour_word, find_suspect_patches

#: Patches of the 24-patch colour chart of McCamy, Marcus & Davidson, J. Appl. Photogr. Eng. 2(3), 1976, as 8-bit sRGB
#: computed from the published xyY (D65, Bradford). The words beside them are this project's.
CHART = [
    ("foliage", (90, 108, 65), "green"),
    ("green", (67, 149, 74), "green"),
    ("bluish green", (92, 190, 172), "blue-green"),
    ("moderate red", (198, 82, 97), "pink-orange"),
    ("orange", (224, 124, 47), "pink-orange"),
    ("red", (180, 49, 57), "pink-orange"),
    ("yellow", (238, 198, 20), "yellow"),
    ("neutral 6.5", (161, 163, 163), "grey"),
    ("neutral 5", (121, 121, 122), "grey"),
    ("black 2", (49, 49, 51), "black"),
]
PX_PER_MM = 3.0
GREEN = np.array([0.06, 0.2, 0.08], np.float32)


@pytest.mark.parametrize(("name", "srgb", "word"), CHART, ids=[row[0] for row in CHART])
def test_words_for_the_colours_of_a_published_chart(name, srgb, word):
    assert colour_word(srgb_to_linear(np.array(srgb) / 255.0)) == word


@pytest.mark.parametrize(
    ("name", "srgb", "word"),
    [
        ("darkorange", (255, 140, 0), "pink-orange"),
        ("orange", (255, 165, 0), "pink-orange"),
        ("chocolate", (210, 105, 30), "pink-orange"),
        ("hotpink", (255, 105, 180), "pink-orange"),
        ("goldenrod", (218, 165, 32), "yellow"),
        ("gold", (255, 215, 0), "yellow"),
        ("yellow", (255, 255, 0), "yellow"),
        ("yellowgreen", (154, 205, 50), "green"),
        ("seagreen", (46, 139, 87), "green"),
        ("teal", (0, 128, 128), "blue-green"),
        ("gray", (128, 128, 128), "grey"),
        ("black", (0, 0, 0), "black"),
    ],
)
def test_words_for_named_colours(name, srgb, word):
    """Named colours of CSS Color Module Level 4 (W3C), section 6.1: values from memory."""
    assert colour_word(srgb_to_linear(np.array(srgb) / 255.0)) == word


@pytest.mark.parametrize("linear_rgb", [(0, 0, 0), (1, 1, 1), (9, 9, 9), (-1, 0.5, 2), (0, 0, 1)])
def test_every_colour_has_one_of_the_words(linear_rgb):
    assert colour_word(np.array(linear_rgb, float)) in COLOUR_WORDS


def patch(radius_mm: float, probability: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
    """A green disc on white, and the probability that it is foreign."""
    rows, columns = np.mgrid[:210, :150] / PX_PER_MM
    disc = np.hypot(rows - 30, columns - 25) < radius_mm
    face = np.full((210, 150, 3), 0.8, np.float32)
    face[disc] = GREEN
    return face, np.where(disc, np.float32(probability), np.float32(0.02)).astype(np.float32)


def found(
    radius_mm: float, *, probability: float = 0.95, kind: str = "bag", cast: float = 1.0, referenced: bool = True
):
    face, coloured = patch(radius_mm, probability)
    face = face * np.array([cast, 1.0, 1 / cast], np.float32)
    white = np.where(coloured < 0.5, np.float32(1), np.float32(0))
    return find_suspect_patches(
        face, (coloured, np.zeros_like(coloured)), white, PX_PER_MM, kind=kind, referenced=referenced
    )


def test_a_disc_has_its_geometric_area():
    (suspect,) = found(10.0)
    assert suspect.area_cm2 == pytest.approx(math.pi * 10**2 / 100, rel=0.02)
    assert suspect.mask.sum() == pytest.approx(suspect.area_cm2 * 100 * PX_PER_MM**2)
    assert suspect.colour == "green"
    assert 0.5 < suspect.score <= 1.0


def test_the_smallest_patch_is_larger_on_a_bag_than_on_a_plate():
    assert found(3.0, kind="bag") == ()
    assert len(found(3.0, kind="plate")) == 1
    assert found(1.0, kind="plate") == ()


def test_patches_of_low_probability_are_left_out():
    assert found(10.0, probability=0.55) == ()
    assert found(4.2, probability=0.97, kind="bag") != ()
    assert found(3.5, probability=0.97, kind="bag") == ()


def test_the_score_rises_with_area_and_with_probability():
    small, large = found(5.0)[0].score, found(15.0)[0].score
    assert small < large
    assert found(15.0, probability=0.91)[0].score < large


def test_without_a_label_mycelium_is_the_white_reference():
    """A cold cast turns green into blue-green unless it is corrected with something white."""
    assert found(10.0, cast=0.5, referenced=True)[0].colour != "green"
    assert found(10.0, cast=0.5, referenced=False)[0].colour == "green"


def test_largest_first():
    face = np.full((200, 140, 3), 0.8, np.float32)
    coloured = np.zeros((200, 140), np.float32)
    coloured[5:30, 5:30] = coloured[60:120, 10:100] = 0.92
    areas = [
        a.area_cm2
        for a in find_suspect_patches(
            face, (coloured, 0 * coloured), 1 - coloured, PX_PER_MM, kind="bag", referenced=True
        )
    ]
    assert areas == sorted(areas, reverse=True)
    assert len(areas) == 2
