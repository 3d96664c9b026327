"""Labels with codes made by an independent generator (segno), read at the scales and tilts of shelf photos."""

import tracemalloc
from dataclasses import replace

import cv2
import numpy as np
import pytest
import segno

from calibration import LABELS
from tests.vision.drawn import label_picture, paste, shelf
from vision.label.labels import find_labels, ideal_modules
from vision.label.pose import settle_label
from vision.label.white import white_at_label

NORMAL = LABELS["normal"]


def _grey(photo):
    return cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY)


def _photo_of(vessel, px_per_mm, *, turn_degrees=0.0, tilt=0.0, noise=0.0, blur=0.5):
    """A label in the middle of a wall, rotated about its centre and tilted (share by which its right side shrinks)."""
    sticker = label_picture(vessel, px_per_mm)
    rows, columns = sticker.shape[:2]
    photo = shelf(3 * rows, 3 * columns)
    corners = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32)
    seen = corners.copy()
    seen[1, 1] += tilt * rows / 2
    seen[2, 1] -= tilt * rows / 2
    seen[1:3, 0] -= tilt * columns / 2
    middle = np.array([1.5 * columns, 1.5 * rows])
    angle = np.radians(turn_degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    seen = ((seen - corners.mean(axis=0)) @ turn.T + middle).astype(np.float32)
    warp = cv2.getPerspectiveTransform(corners, seen)
    size = (photo.shape[1], photo.shape[0])
    warped = cv2.warpPerspective(sticker, warp, size, flags=cv2.INTER_AREA)
    mask = cv2.warpPerspective(np.full((rows, columns), 255, np.uint8), warp, size)
    photo[mask > 127] = warped[mask > 127]
    photo = cv2.GaussianBlur(photo, (0, 0), blur)
    if noise:
        photo = np.clip(photo + np.random.default_rng(3).normal(0, noise, photo.shape), 0, 255).astype(np.uint8)
    return photo, warp


@pytest.mark.parametrize("px_per_mm", [2.3, 3.0, 5.0, 9.0])
@pytest.mark.parametrize("turn_degrees", [0, 8, 90, 180, 237])
def test_a_label_is_read_at_any_rotation(px_per_mm, turn_degrees):
    photo, _ = _photo_of("B-017/4", px_per_mm, turn_degrees=turn_degrees)
    assert [label.text for label in find_labels(_grey(photo))] == ["B-017/4"]


@pytest.mark.parametrize("tilt", [0.0, 0.03, 0.06])
def test_the_place_of_a_label_is_right(tilt):
    photo, warp = _photo_of("JAR-9", 4.0, turn_degrees=12, tilt=tilt)
    (label,) = find_labels(_grey(photo))
    label = settle_label(_grey(photo), label, NORMAL)
    corners_mm = np.array([[[0, 0], [60, 0], [60, 40], [0, 40]]], np.float64)
    true = cv2.perspectiveTransform(corners_mm * 4.0, warp)[0]
    assert np.abs(cv2.perspectiveTransform(corners_mm, label.to_photo(NORMAL))[0] - true).max() < 1.5 + 45 * tilt


def test_px_per_mm_of_a_square_on_label_is_within_two_percent():
    photo, _ = _photo_of("P001", 4.0)
    (label,) = find_labels(_grey(photo))
    assert label.px_per_mm(NORMAL) == pytest.approx(4.0, rel=0.02)
    assert abs(np.degrees(label.angle)) < 1.0


def test_a_poor_code_is_matched_with_an_expected_one_and_flagged():
    photo, _ = _photo_of("B004", 2.0, blur=1.05, noise=14)
    expected = [f"B{number:03d}" for number in range(1, 40)]
    (label,) = find_labels(_grey(photo), expected)
    assert label.text == "B004"
    (unaided,) = find_labels(_grey(photo))
    assert label.matched == (unaided.text is None)


@pytest.mark.parametrize("mask", range(8))
def test_codes_that_are_matched_have_each_mask_of_the_standard(mask: int) -> None:
    """Data modules as segno draws them with this mask (ISO/IEC 18004); not finders, timing and format bits."""
    code = segno.make_qr("B004", version=1, error="q", mode="alphanumeric", mask=mask, boost_error=False)
    light = ~np.array([list(row) for row in code.matrix], bool)
    data = np.ones((21, 21), bool)
    for rows, columns in ((slice(9), slice(9)), (slice(9), slice(13, 21)), (slice(13, 21), slice(9))):
        data[rows, columns] = False
    data[6], data[:, 6] = False, False
    assert (ideal_modules("B004")[mask].astype(bool)[data] == light[data]).all()


def test_a_code_that_is_not_expected_is_never_matched():
    photo, _ = _photo_of("Z999", 2.0, blur=1.05, noise=14)
    for label in find_labels(_grey(photo), [f"B{number:03d}" for number in range(1, 200)]):
        assert label.text in (None, "Z999")
        assert not label.matched


def test_labels_side_by_side_are_all_found_once():
    photo = shelf(300, 900)
    for number in range(3):
        paste(photo, label_picture(f"V{number}", 3.0), 90, 60 + 280 * number)
    assert sorted(str(label.text) for label in find_labels(_grey(photo))) == ["V0", "V1", "V2"]


@pytest.mark.parametrize("shape", [(1, 1), (5, 40), (300, 200)])
def test_a_picture_without_labels_gives_none(shape):
    assert find_labels(np.full(shape, 90, np.uint8), ["A"]) == []


@pytest.mark.parametrize("gain", [0.25, 0.6, 1.0, 2.5])
def test_white_is_found_from_the_patches_under_any_exposure_and_cast(gain):
    """Light multiplied by a gain per channel must give that gain, since the patches are defined in sRGB."""
    photo, _ = _photo_of("B1", 4.0)
    cast = gain * np.array([1.08, 1.0, 0.86])
    linear = np.where(photo <= 10, photo / 255 / 12.92, ((photo / 255 + 0.055) / 1.055) ** 2.4) * cast
    # A soft shoulder like that of a camera's tone curve, which the measurement removes.
    bent = np.where(linear <= 0.5, linear, 1 - 0.5 * np.exp(-(linear - 0.5) / 0.5))
    encoded = np.where(bent <= 0.0031308, bent * 12.92, 1.055 * np.maximum(bent, 0) ** (1 / 2.4) - 0.055)
    shot = np.clip(255 * encoded, 0, 255).astype(np.uint8)
    (label,) = find_labels(_grey(shot), ["B1"])
    label = settle_label(_grey(shot), label, NORMAL)
    assert white_at_label(shot, label, NORMAL) == pytest.approx(cast, rel=0.08)


def test_memory_does_not_grow_with_the_number_of_labels_in_a_run():
    photo, _ = _photo_of("B012", 5.0)
    grey = _grey(photo)
    (label,) = find_labels(grey)
    tracemalloc.start()
    held = []
    for letter in "AC":
        for number in range(150):
            settle_label(grey, replace(label, text=f"{letter}{number:03}"), NORMAL)
        held.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    # The modules of a code are cached, 4 KB; a drawn sticker would be 85 KB.
    assert held[1] - held[0] < 150 * 20_000
