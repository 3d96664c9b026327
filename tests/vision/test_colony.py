"""Colonies of known size and place in a dish."""

import numpy as np
import pytest

from vision.records import BARE, MYCELIUM, SUSPECT, Face
from vision.surface import measure_colonies

SCALE = 4.0


def _face(*colonies, dish_mm=43.0):
    """A dish with round colonies given as (x mm, y mm, radius mm), drawn from pixel centres."""
    rows, columns = np.mgrid[:380, :384]
    x, y = (columns - 191.5) / SCALE, (rows - 189.5) / SCALE
    classes = np.where(np.hypot(x, y) <= dish_mm, BARE, 0).astype(np.uint8)
    for centre_x, centre_y, radius in colonies:
        classes[(np.hypot(x - centre_x, y - centre_y) <= radius) & (classes > 0)] = MYCELIUM
    return Face(np.zeros((*classes.shape, 3), np.uint8), classes, classes, SCALE, np.eye(3), True)


def test_a_round_colony_has_its_area_radius_and_place():
    """Area pi r squared; its share of the dish (r / R) squared."""
    (colony,) = measure_colonies(_face((6.0, -4.0, 15.0)))
    assert colony.area_mm2 == pytest.approx(np.pi * 15**2, rel=0.01)
    assert colony.radius_mm == pytest.approx(15.0, rel=0.01)
    assert colony.dish_percent == pytest.approx(100 * (15 / 43) ** 2, rel=0.01)
    assert colony.origin_mm == pytest.approx((6.0, -4.0), abs=0.1)
    assert colony.radii_mm == pytest.approx([15.0] * 36, abs=0.3)


def test_reach_from_a_given_origin_and_to_the_rim():
    (colony,) = measure_colonies(_face((0.0, 0.0, 20.0)), origin_mm=(5.0, 0.0))
    assert colony.radii_mm[0] == pytest.approx(15.0, abs=0.3)
    assert colony.radii_mm[18] == pytest.approx(25.0, abs=0.3)
    assert colony.rim_mm[0] == pytest.approx(38.0, abs=0.3)


def test_colonies_are_listed_largest_first_without_specks():
    colonies = measure_colonies(_face((-15.0, 0.0, 6.0), (15.0, 0.0, 10.0), (0.0, 25.0, 1.0)))
    assert [round(colony.radius_mm) for colony in colonies] == [10, 6]


def test_a_bare_plate_and_an_empty_face_have_none():
    assert measure_colonies(_face()) == ()
    assert measure_colonies(_face(dish_mm=0.0)) == ()


def test_contaminated_surface_belongs_to_the_dish_but_to_no_colony():
    face = _face((0.0, 0.0, 12.0))
    face.classes[:150][face.classes[:150] == BARE] = SUSPECT
    (colony,) = measure_colonies(face)
    assert colony.dish_percent == pytest.approx(100 * (12 / 43) ** 2, rel=0.01)
