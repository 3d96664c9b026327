"""Tape and stickers are told from moulds by their outline and even light."""

import cv2
import numpy as np
import pytest

from tests.values import known
from vision.surface.suspects import SuspectPatch
from vision.surface.tape import is_even, is_strip, without_tape

PX_PER_MM = 3.0
SHAPE = (600, 500)


def box(length_mm: float, width_mm: float, degrees: float = 0.0) -> np.ndarray:
    """A rectangle in the middle of a face of 200 by 167 mm."""
    corners = cv2.boxPoints(((250, 300), (length_mm * PX_PER_MM, width_mm * PX_PER_MM), degrees))
    return cv2.fillConvexPoly(np.zeros(SHAPE, np.uint8), corners.astype(np.int32), 1) > 0


def disc(diameter_mm: float) -> np.ndarray:
    return cv2.circle(np.zeros(SHAPE, np.uint8), (250, 300), round(diameter_mm * PX_PER_MM / 2), 1, -1) > 0


def ellipse(length_mm: float, width_mm: float) -> np.ndarray:
    axes = (round(length_mm * PX_PER_MM / 2), round(width_mm * PX_PER_MM / 2))
    return cv2.ellipse(np.zeros(SHAPE, np.uint8), (250, 300), axes, 20, 0, 360, 1, -1) > 0


@pytest.mark.parametrize("degrees", [0, 17, 45, 90])
@pytest.mark.parametrize(("length", "width"), [(70, 22), (48, 24), (30, 12)])
def test_a_rectangle_in_any_direction_is_a_strip(length, width, degrees):
    assert is_strip(box(length, width, degrees), PX_PER_MM)


def test_ragged_edges_do_not_hide_a_strip():
    rng = np.random.default_rng(3)
    noise = cv2.resize(rng.random((150, 125)).astype(np.float32), SHAPE[::-1])
    edge = cv2.dilate(box(70, 22).astype(np.uint8), np.ones((7, 7))) - cv2.erode(
        box(70, 22).astype(np.uint8), np.ones((7, 7))
    )
    assert is_strip(box(70, 22) ^ ((edge > 0) & (noise > 0.6)), PX_PER_MM)


@pytest.mark.parametrize(
    "mould", [disc(20), disc(60), box(40, 38), ellipse(60, 32), ellipse(90, 30), box(60, 4), box(150, 30)]
)
def test_round_square_thin_and_large_patches_are_no_strips(mould):
    assert not is_strip(mould, PX_PER_MM)


def test_a_strip_of_uneven_light_is_no_tape():
    strip = box(70, 22)
    even = np.full((*SHAPE, 3), 0.3, np.float32)
    powder = even * np.exp(np.random.default_rng(0).normal(0, 0.6, (*SHAPE, 1))).astype(np.float32)
    assert is_even(strip, even, PX_PER_MM)
    assert not is_even(strip, powder, PX_PER_MM)
    assert not is_even(box(30, 0.7), even, PX_PER_MM)


def test_tape_is_no_suspect_and_covers_the_surface():
    light, inside = np.full((*SHAPE, 3), 0.3, np.float32), np.ones(SHAPE, bool)
    tape = SuspectPatch("yellow", box(70, 22), 15.4, 0.9)
    mould = SuspectPatch("green", np.roll(disc(20), 150, axis=0), 3.1, 0.9)
    kept, covered = without_tape((tape, mould), light, inside, PX_PER_MM)
    assert kept == (mould,)
    assert (known(covered) == tape.mask).all()
    assert without_tape((mould,), light, inside, PX_PER_MM) == ((mould,), None)


def test_a_strip_over_much_of_a_face_stays_a_suspect():
    """A mould that covers a third of a narrow jar has straight edges too."""
    inside = box(80, 60)
    mould = SuspectPatch("green", box(75, 20), 15.0, 0.9)
    kept, covered = without_tape((mould,), np.full((*SHAPE, 3), 0.3, np.float32), inside, PX_PER_MM)
    assert (kept, covered) == ((mould,), None)
