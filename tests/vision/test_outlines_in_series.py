"""Outlines of later photos: a dish keeps its own, an outline on a bag that lies far from the earlier ones does not."""

import numpy as np

from vision.days.outlines import outline_in_series
from vision.days.past import Past, at_compared_scale
from vision.records import BARE, Face, VesselSpec

PX_PER_MM = 2.0


def face(mask: np.ndarray) -> Face:
    classes = mask.astype(np.uint8) * np.uint8(BARE)
    return Face(np.zeros((*mask.shape, 3), np.uint8), classes, classes, PX_PER_MM, np.eye(3), labelled=True)


def test_a_dish_has_the_outline_of_its_own_photo() -> None:
    """A dish is turned and put elsewhere from day to day, so earlier outlines say nothing."""
    rows, columns = np.indices((230, 232))
    disc = np.hypot(rows - 115, columns - 116) <= 90
    past = Past(n_read=2, shape=(230, 232), outlines=(np.ones((115, 116), bool),) * 2)
    assert np.array_equal(outline_in_series(past, face(disc), VesselSpec("P1", "plate")), disc)


def test_an_outline_on_a_bag_far_from_the_earlier_ones_is_replaced() -> None:
    """Two photos show the whole bag, the third only a quarter of it."""
    whole = np.zeros((300, 240), bool)
    whole[40:260, 40:200] = True
    part = whole.copy()
    part[120:] = False
    earlier = (at_compared_scale(whole, PX_PER_MM),) * 2
    past = Past(n_read=2, shape=(300, 240), outlines=earlier)
    found = outline_in_series(past, face(part), VesselSpec("B1", "bag"))
    assert (found & whole).sum() > 0.98 * (found | whole).sum()
