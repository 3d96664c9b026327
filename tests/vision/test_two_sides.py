"""Front and back of one vessel from the suffix on its label, on drawn bags; and the steep sides of a cylinder."""

from dataclasses import replace

import numpy as np
import pytest

from tests.values import known
from tests.vision.drawn import bag_photo
from vision.face.cut_out import steep_percent
from vision.photo import measure_photo
from vision.records import PhotoContext, VesselSpec

BAG = VesselSpec("BAG-1", "bag", species="oyster", substrate="sawdust")
CONTEXT = PhotoContext({"BAG-1": BAG})


def test_the_suffix_on_a_label_makes_it_the_back_of_its_vessel():
    (back,) = measure_photo(bag_photo("BAG-1/BACK", 0.5), CONTEXT)
    (front,) = measure_photo(bag_photo("BAG-1", 0.5), CONTEXT)
    assert (back.reading.vessel, back.reading.side, back.reading.status) == ("BAG-1", "back", "ok")
    assert front.reading.side == "front"
    assert back.reading.percent == pytest.approx(front.reading.percent, abs=1)


def test_front_and_back_in_one_photo_are_two_readings():
    both = np.concatenate([bag_photo("BAG-1", 0.2), bag_photo("BAG-1/BACK", 0.6)], axis=1)
    sides = {one.reading.side: one.reading.percent for one in measure_photo(both, CONTEXT)}
    assert sides.keys() == {"front", "back"}
    assert known(sides["front"]) < known(sides["back"]) - 20


def test_an_id_with_such_a_suffix_may_be_a_vessel():
    own = VesselSpec("BAG-1/BACK", "bag")
    (one,) = measure_photo(bag_photo("BAG-1/BACK", 0.5), PhotoContext({"BAG-1": BAG, own.id: own}))
    assert (one.reading.vessel, one.reading.side) == ("BAG-1/BACK", "front")


@pytest.mark.parametrize("text", ["BAG-1/BAK", "BAG-1/BACK2", "BAG-1/B"])
def test_an_unknown_suffix_is_reported_with_the_valid_one(text):
    (one,) = measure_photo(bag_photo(text, 0.5), CONTEXT)
    assert (one.reading.vessel, one.reading.status) == (text, "unidentified")
    assert "that of the back of BAG-1 is BAG-1/BACK" in one.reading.reason


def test_a_region_and_a_name_may_mean_the_back():
    photo = bag_photo("BAG-1", 0.5)
    photo[290:430, 400:600] = photo[500:640, 400:600]  # the label painted over with substrate
    (by_name,) = measure_photo(photo, replace(CONTEXT, owner="BAG-1/BACK"))
    (by_region,) = measure_photo(photo, replace(CONTEXT, regions={"BAG-1/BACK": (0, 0, *photo.shape[1::-1])}))
    assert [(one.reading.vessel, one.reading.side) for one in (by_name, by_region)] == [("BAG-1", "back")] * 2


def test_without_known_vessels_a_kind_is_enough():
    (one,) = measure_photo(bag_photo("X-9", 0.5), PhotoContext(kind="bag"))
    assert (one.reading.vessel, one.reading.kind, one.reading.status) == ("X-9", "bag", "ok")
    (known,) = measure_photo(bag_photo("X-9", 0.5), replace(CONTEXT, kind="bag"))
    assert known.reading.status == "unidentified"


def test_the_edges_of_a_cylinder_are_steep():
    """Steep beyond sin 60 = 0.866 of the half width, so 13.4 % of a whole face (plane trigonometry)."""
    outline = np.zeros((300, 400), bool)
    outline[20:280, 50:350] = True
    assert steep_percent(VesselSpec("J", "jar"), outline, outline) == pytest.approx(13.4, abs=0.3)
    assert steep_percent(VesselSpec("B", "bag"), outline, outline) is None
    label = outline.copy()
    label[:, 120:280] = False  # only the sides are measured, so a larger share is steep
    assert steep_percent(VesselSpec("J", "jar"), outline, label) == pytest.approx(13.4 * 300 / 140, abs=0.6)


def test_each_row_has_its_own_half_width():
    """The steep share of a cone is the same in each row."""
    rows, columns = np.mgrid[:300, :400]
    cone = np.abs(columns - 200) < 20 + rows / 2
    assert steep_percent(VesselSpec("K", "bucket"), cone, cone) == pytest.approx(13.4, abs=0.6)
