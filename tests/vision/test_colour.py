"""Colour conversions against published values."""

import numpy as np
import pytest

from vision.pixels.light import SHOULDER_KNEE, undo_shoulder


def test_the_shoulder_keeps_the_straight_part_and_the_order():
    levels = np.linspace(0, 1, 101)
    light = undo_shoulder(levels)
    straight = levels <= SHOULDER_KNEE
    assert light[straight] == pytest.approx(levels[straight], abs=1e-6)
    assert (np.diff(light) >= 0).all()
    assert np.isfinite(light).all()
