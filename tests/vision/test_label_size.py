"""A small label on a vessel whose record leaves the size open: the vessel is not twice as large, the label is half."""

from dataclasses import replace
from typing import Literal

import pytest

from tests.values import known
from tests.vision.drawn import bag_photo
from vision.photo import measure_photo
from vision.records import PhotoContext, Reading, VesselSpec

BAG = VesselSpec("BAG-1", "bag")
PX_PER_MM = 4.0


def read(label: Literal["normal", "small"], spec: VesselSpec) -> Reading:
    """The reading of a bag that is half white, with a label of this size."""
    (measured,) = measure_photo(bag_photo("BAG-1", 0.5, PX_PER_MM, label), PhotoContext({"BAG-1": spec}))
    return measured.reading


def test_a_small_label_is_told_by_the_size_of_the_vessel():
    small, normal = read("small", BAG), read("normal", BAG)
    assert "label_small" in small.flags
    assert "label_small" not in normal.flags
    assert small.mm_per_px == pytest.approx(1 / PX_PER_MM, rel=0.02)
    assert known(small.percent) == pytest.approx(50, abs=6)


def test_the_size_in_the_record_is_trusted():
    recorded = read("small", replace(BAG, label_size="small"))
    assert "label_small" not in recorded.flags
    assert recorded.mm_per_px == pytest.approx(1 / PX_PER_MM, rel=0.02)
    assert "label_small" not in read("small", replace(BAG, label_size="normal")).flags


def test_a_large_vessel_by_its_record_has_a_normal_label():
    assert "label_small" not in read("small", replace(BAG, face_width_mm=352, face_height_mm=452)).flags
