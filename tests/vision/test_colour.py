"""Colour conversions against published values."""

import numpy as np
import pytest

from vision.pixels.light import SHOULDER_KNEE, LinearPicture, linear_from_saved, undo_shoulder


def test_the_shoulder_keeps_the_straight_part_and_the_order():
    levels = np.linspace(0, 1, 101)
    light = undo_shoulder(levels)
    straight = levels <= SHOULDER_KNEE
    assert light[straight] == pytest.approx(levels[straight], abs=1e-6)
    assert (np.diff(light) >= 0).all()
    assert np.isfinite(light).all()


def test_matt_white_has_the_level_of_faces_that_farms_have_stored():
    """Light 1 is saved as sRGB of 0.83, 255 * (1.055 * 0.83^(1/2.4) - 0.055) = 235; stored faces depend on it."""
    white = LinearPicture(np.zeros((1, 1, 3), np.uint8), np.ones((1, 256, 3), np.float32))
    saved = white.encoded()
    assert saved.tolist() == [[[235, 235, 235]]]
    assert linear_from_saved(saved).light() == pytest.approx(1.0, abs=0.01)
