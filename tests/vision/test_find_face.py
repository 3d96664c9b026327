"""Faces of upright vessels: single steps against geometry, the outline against drawn bags of known outline."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.values import known
from tests.vision.drawn import bag_photo, dish_photo, label_picture, paste, shelf, tub_photo
from vision.face.find_labelled import one_shape, outline_confidence
from vision.face.outline_network import USUAL_PX, outline_planes, usual_distance
from vision.photo import measure_photo
from vision.records import LABEL, PhotoContext, VesselSpec

BAG = VesselSpec("B1", "bag")


def test_the_distance_from_the_usual_box_is_euclidean() -> None:
    """A 3-4-5 triangle beyond a corner; half the shorter side in the middle. Distances are from pixel centres."""
    distance = usual_distance((60, 80), (20.5, 10.5, 60.5, 40.5)) * USUAL_PX
    assert distance[25, 40] == pytest.approx(15.0)
    assert distance[25, 23] == pytest.approx(3.0)
    assert distance[44, 63] == pytest.approx(-5.0)
    assert distance[5, 30] == pytest.approx(-5.0)


def test_planes_show_light_and_fine_contrast_only_where_the_photo_reaches() -> None:
    light = np.full((40, 40, 3), 0.25, np.float32)
    light[::2, ::2] = 0.5  # finer than one pixel of the planes
    seen = np.ones((20, 20), np.float32)
    seen[:, 15:] = 0
    planes = outline_planes(light, np.zeros_like(seen), seen, (5, 5, 15, 15))
    mean, deviation = 0.3125, np.sqrt((3 * 0.0625**2 + 0.1875**2) / 4)
    assert planes[3, 3, 3] == pytest.approx(deviation / (mean + 0.02), rel=1e-4)
    assert planes[:3, 3, 3] == pytest.approx(np.log(mean + 0.02) + 1.2, rel=1e-4)
    assert not planes[:4, :, 15:].any()


def test_the_largest_part_is_taken_without_holes() -> None:
    """Area of a disc, pi r squared, although its middle is uncertain and there are other likely parts."""
    logits = np.full((120, 120), -3, np.float32)
    cv2.circle(logits, (60, 60), 40, 3, -1)
    cv2.circle(logits, (60, 60), 10, -3, -1)
    logits[5:15, 5:25] = 3
    logits[60, 100:118] = 3
    shape = one_shape(logits)
    assert shape.sum() == pytest.approx(np.pi * 40**2, rel=0.03)
    assert not shape[10, 10]
    assert not shape[60, 110]
    assert not one_shape(np.full((40, 40), -1, np.float32)).any()


def test_uncertain_pixels_make_an_outline_unsure() -> None:
    disc = np.zeros((80, 80), np.uint8)
    cv2.circle(disc, (40, 40), 25, 1, -1)
    everywhere = np.ones(disc.shape, bool)
    sure, unsure = (
        outline_confidence(np.where(disc, level, -level).astype(np.float32), disc > 0, everywhere) for level in (4, 0.4)
    )
    assert (sure, unsure) == (1.0, 0.0)


@pytest.mark.parametrize("covered", [0.0, 0.3, 0.5, 0.8, 1.0])
def test_a_drawn_bag_is_found_at_any_height_of_its_front(covered: float) -> None:
    """Width 176 and height 226 mm minus the corners: w h - (4 - pi) r squared."""
    (measured,) = measure_photo(bag_photo("B1", covered), PhotoContext({"B1": BAG}))
    face = known(measured.face)
    face_mm2 = (face.classes > 0).sum() / face.px_per_mm**2
    assert face_mm2 == pytest.approx(176 * 226 - (4 - np.pi) * 16**2, rel=0.03)
    assert (face.classes == LABEL).sum() / face.px_per_mm**2 == pytest.approx(60 * 40, rel=0.06)


@pytest.mark.parametrize("covered", [0.0, 0.3, 0.7, 1.0])
@pytest.mark.parametrize("box", [60, 170, 225])
@pytest.mark.parametrize(("width_mm", "height_mm"), [(400, 280), (310, 180)])
def test_a_drawn_tub_is_found_from_above_its_label(covered: float, box: int, width_mm: int, height_mm: int) -> None:
    """Black, clear and white boxes, of the usual size and of a size in the record; area: width times height."""
    usual = (width_mm, height_mm) == (400, 280)
    spec = VesselSpec("T1", "tub")
    if not usual:
        spec = replace(spec, face_width_mm=width_mm, face_height_mm=height_mm)
    (measured,) = measure_photo(tub_photo("T1", covered, (width_mm, height_mm), box), PhotoContext({"T1": spec}))
    assert measured.reading.percent == pytest.approx(100 * covered, abs=5)
    face = known(measured.face)
    area_mm2 = (face.classes > 0).sum() / face.px_per_mm**2
    assert area_mm2 == pytest.approx(width_mm * height_mm, rel=0.12)


@pytest.mark.parametrize("colony_mm", [0.0, 25.0])
def test_a_drawn_dish_is_found_above_its_label(colony_mm: float) -> None:
    """The agar is a disc of 86 mm, pi 43 squared, with its middle at column 375, row 300 of the photo (5 px per mm)."""
    spec = VesselSpec("P-1", "plate", "oyster", "agar")
    (measured,) = measure_photo(dish_photo("P-1", colony_mm), PhotoContext({"P-1": spec}))
    face = known(measured.face)
    assert (face.classes > 0).sum() / face.px_per_mm**2 == pytest.approx(np.pi * 43**2, rel=0.03)
    rows, columns = np.nonzero(face.classes)
    middle = np.array([[[columns.mean(), rows.mean()]]])
    assert cv2.perspectiveTransform(middle, face.to_photo)[0, 0] == pytest.approx([375, 300], abs=10)


def test_no_vessel_is_found_around_a_label_on_a_bare_wall() -> None:
    photo = shelf(1000, 1000)
    paste(photo, label_picture("J1", 3.0), 760, 400)
    (measured,) = measure_photo(photo, PhotoContext({"J1": VesselSpec("J1", "jar")}))
    assert (measured.reading.status, measured.reading.percent) == ("unusable", None)
