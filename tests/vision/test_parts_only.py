"""What is worked out for a part only, or in a quicker way, is what it would be for the whole."""

import numpy as np

from calibration import LABELS
from vision.label import Label
from vision.label.pose import rectified_sticker
from vision.pixels import box_of
from vision.surface.segmenter_input import _quantiles


def test_the_box_of_a_mask_holds_it_with_its_margin_and_ends_at_the_picture():
    mask = np.zeros((20, 30), bool)
    mask[5:9, 12:15] = True
    assert box_of(mask) == (slice(5, 9), slice(12, 15))
    assert box_of(mask, 7) == (slice(0, 16), slice(5, 22))
    assert box_of(np.zeros((4, 4), bool)) == (slice(0, 1), slice(0, 1))


def test_quantiles_are_those_of_numpy():
    rows = np.random.default_rng(3).normal(size=(3, 4999)).astype(np.float32)
    expected = np.quantile(rows, (0.1, 0.5, 0.9), axis=1)  # numpy's own: the reference
    np.testing.assert_allclose(_quantiles(rows, (0.1, 0.5, 0.9)), expected, rtol=0, atol=1e-6)
    np.testing.assert_array_equal(_quantiles(rows[:, :1], (0.1, 0.9)), np.repeat(rows[:, :1].T, 2, axis=0))


def test_a_part_of_a_sticker_is_rectified_as_in_the_whole():
    rng = np.random.default_rng(4)
    photo = np.repeat(np.repeat(rng.integers(0, 256, (40, 50, 3), np.uint8), 8, axis=0), 8, axis=1)
    geometry = LABELS["normal"]
    label = Label("B001", np.array([[90.0, 80.0], [200.0, 84.0], [197.0, 193.0], [88.0, 190.0]]))
    whole = rectified_sticker(photo, label, geometry, 5.0)
    part = (slice(60, 160), slice(200, 295))
    away = np.abs(whole[part].astype(int) - rectified_sticker(photo, label, geometry, 5.0, part))
    assert away.mean() < 0.5  # a warp rounds places to 1/32 px
