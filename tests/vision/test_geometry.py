"""Areas and outlines of drawn shapes against geometry: known size, off the pixel grid, rotated and tilted."""

import cv2
import numpy as np
import pytest

from vision.face.frame import frame_at
from vision.face.ring import circle_directions, ellipse_of, find_ring, roundness


def _ellipse(shape, centre, axes, angle_degrees=0.0):
    """Share of each pixel inside an ellipse, by 8 x 8 points in each pixel, (rows, columns) 0-1."""
    fine = 8
    rows, columns = (np.arange(n * fine) / fine - 0.5 + 0.5 / fine for n in shape)
    turn = np.radians(angle_degrees)
    x, y = columns[None, :] - centre[0], rows[:, None] - centre[1]
    along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    inside = (along / axes[0]) ** 2 + (across / axes[1]) ** 2 <= 1
    return inside.reshape(shape[0], fine, shape[1], fine).mean(axis=(1, 3))


@pytest.mark.parametrize("px_per_mm", [1.7, 2.6, 4.3])
@pytest.mark.parametrize("angle", [0.0, 0.3, -2.0])
def test_a_disc_in_a_photo_has_its_area_in_square_millimetres_in_the_frame(px_per_mm, angle):
    """Area of a circle: pi r squared. The disc lies off the pixel grid; the frame is rotated and rescaled."""
    radius_mm, middle = 21.3, np.array([231.37, 204.81])
    photo = np.round(255 * _ellipse((420, 460), middle, (radius_mm * px_per_mm,) * 2)).astype(np.uint8)
    frame = frame_at(middle, angle, px_per_mm, (-40, -35, 80, 70), 3.0)
    area_mm2 = frame.cut(photo).astype(float).sum() / 255 / 9.0
    assert area_mm2 == pytest.approx(np.pi * radius_mm**2, rel=0.01)


def test_a_ring_and_an_ellipse_have_their_areas():
    """Annulus: pi (R^2 - r^2); ellipse: pi a b."""
    middle = (250.4, 249.7)
    share = _ellipse((500, 520), middle, (200.0, 120.0), 25) - _ellipse((500, 520), middle, (60.0, 60.0))
    photo = np.round(255 * share).astype(np.uint8)
    frame = frame_at(np.array(middle), 0.7, 4.0, (-60, -60, 120, 120), 3.0)
    expected_mm2 = (np.pi * 200 * 120 - np.pi * 60**2) / 16
    assert frame.cut(photo).astype(float).sum() / 255 / 9.0 == pytest.approx(expected_mm2, rel=0.01)


def test_a_map_is_pasted_back_where_it_was_cut():
    photo = np.zeros((300, 340), np.uint8)
    cv2.rectangle(photo, (120, 90), (200, 180), 1, -1)
    frame = frame_at(np.array([160.0, 130.0]), 0.2, 2.0, (-50, -45, 100, 90), 3.0)
    back = np.zeros_like(photo)
    frame.paste(back, (frame.cut(photo * 200) > 100).astype(np.uint8))
    overlap = (back & photo).sum() / (back | photo).sum()
    assert overlap > 0.97


def test_a_scaled_frame_shows_the_same_part():
    frame = frame_at(np.array([100.0, 80.0]), 0.1, 2.0, (-30, -20, 60, 40), 3.0)
    small = frame.scaled(1.0)
    assert (small.rows, small.columns) == (40, 60)
    corner = frame.to_photo @ np.array([frame.columns - 0.5, frame.rows - 0.5, 1])
    assert small.to_photo @ np.array([small.columns - 0.5, small.rows - 0.5, 1]) == pytest.approx(corner, abs=1e-6)


@pytest.mark.parametrize("angle", [0.0, 0.05, -0.4, 1.5, np.pi / 2, 3.0])
@pytest.mark.parametrize("anchor", [(50, 40), (5, 70), (190, 5), (-400, 40), (100, 500)])
def test_the_mask_of_pixels_inside_the_photo_is_right(angle, anchor):
    frame = frame_at(np.array(anchor, float), angle, 1.3, (-30, -40, 60, 90), 2.0)
    rows, columns = np.mgrid[: frame.rows, : frame.columns]
    x, y, _ = np.einsum("ij,jrc->irc", frame.to_photo, np.stack([columns, rows, np.ones_like(rows)]))
    expected = (x >= 0) & (y >= 0) & (x <= 199) & (y <= 149)
    assert (frame.inside_photo(150, 200) == expected).mean() > 0.999  # the border depends on rounding


@pytest.mark.parametrize("stretch", [None, np.diag([1.05, 0.86])])
def test_a_dish_is_found_by_its_ring(stretch):
    lab = np.full((230, 252, 3), (40, 0, 0), np.float32)
    centre, radius = (118.4, 131.7), 86.0
    axes = (radius, radius) if stretch is None else tuple(radius * np.diag(stretch))
    share = _ellipse(lab.shape[:2], centre[::-1], axes)[..., None]
    lab = (lab * (1 - share) + np.array([66, 8, 40]) * share).astype(np.float32)
    ring = find_ring(lab, (110, 126), 84.0, centre_spread=16, radius_spread=3, directions=circle_directions(stretch))
    assert ring.centre == pytest.approx(centre, abs=1.0)
    assert ring.radius == pytest.approx(radius, rel=0.02)
    assert ring.strength > 0.8


def _disc(shape, centre, axes):
    rows, columns = np.indices(shape)
    return ((rows - centre[0]) / axes[0]) ** 2 + ((columns - centre[1]) / axes[1]) ** 2 <= 1


@pytest.mark.parametrize("axes", [(60, 60), (60, 45)], ids=["a dish from above", "a dish from the side"])
def test_an_ellipse_is_its_own_ellipse_also_with_a_dent(axes):
    whole = _disc((160, 180), (80, 90), axes)
    assert (ellipse_of(whole) & whole).sum() > 0.98 * (ellipse_of(whole) | whole).sum()
    assert roundness(whole) == 1.0
    dented = whole.copy()
    dented[:, 88:92] &= np.arange(160)[:, None] > 40
    assert (ellipse_of(dented) & whole).sum() > 0.93 * (ellipse_of(dented) | whole).sum()


def test_what_is_not_round_is_no_dish():
    square, cross = np.zeros((2, 160, 160), bool)
    square[40:120, 40:120] = True
    cross[70:90, 20:140] = cross[20:140, 70:90] = True
    assert roundness(square) < 0.6
    assert roundness(cross) == 0.0
    assert roundness(np.zeros((160, 160), bool)) == 0.0


def test_a_speck_is_left_as_it_is():
    speck = np.zeros((20, 20), bool)
    speck[5:7, 5:7] = True
    assert np.array_equal(ellipse_of(speck), speck)
