"""A suspect that looks the same beyond the outline is no growth: the outline took in what is no surface."""

import numpy as np
import pytest

from vision.photo.beyond_outline import without_what_goes_on
from vision.pixels import lit
from vision.surface import FaceSegmentation, SuspectPatch

PX_PER_MM = 2.0
SHAPE = (240, 200)
WALL, GRAIN, MOULD = (90, 92, 95), (170, 140, 90), (60, 95, 60)
#: The outline, and of it a strip along its top that shows the wall: 80 mm wide, 10 mm high.
OUTLINE, STRIP = (slice(40, 220), slice(20, 180)), (slice(40, 60), slice(20, 180))


def mask_of(part: tuple[slice, slice]) -> np.ndarray:
    mask = np.zeros(SHAPE, bool)
    mask[part] = True
    return mask


def looked_at(picture: np.ndarray, patch: np.ndarray, outside: np.ndarray):
    inside = mask_of(OUTLINE)
    area_cm2 = patch.sum() / PX_PER_MM**2 / 100
    suspect = SuspectPatch("grey", patch, float(area_cm2), 0.9)
    seen = FaceSegmentation(np.zeros(SHAPE, np.float32), np.zeros(SHAPE, bool), (suspect,))
    return without_what_goes_on(seen, lit(picture, np.ones(3)), inside, outside, PX_PER_MM)


def picture_of(strip: tuple[int, int, int]) -> np.ndarray:
    picture = np.empty((*SHAPE, 3), np.uint8)
    picture[:] = WALL
    picture[OUTLINE] = GRAIN
    picture[STRIP] = strip
    return picture


def test_what_goes_on_beyond_the_outline_is_no_suspect_and_no_surface():
    seen, inside = looked_at(picture_of(WALL), mask_of(STRIP), ~mask_of(OUTLINE))
    assert seen.suspects == ()
    assert np.array_equal(inside, mask_of(OUTLINE) & ~mask_of(STRIP))


@pytest.mark.parametrize("colour", [MOULD, (100, 92, 95)])
def test_growth_of_another_colour_than_what_is_beyond_stays(colour: tuple[int, int, int]):
    """The second colour differs by 5 in CIELAB from the wall."""
    seen, inside = looked_at(picture_of(colour), mask_of(STRIP), ~mask_of(OUTLINE))
    assert len(seen.suspects) == 1
    assert np.array_equal(inside, mask_of(OUTLINE))


def test_a_patch_that_only_touches_the_outline_stays_whatever_its_colour():
    picture = picture_of(GRAIN)
    spot = mask_of((slice(40, 70), slice(60, 90)))
    picture[spot] = WALL
    seen, _ = looked_at(picture, spot, ~mask_of(OUTLINE))
    assert len(seen.suspects) == 1


def test_where_the_photo_ends_nothing_is_compared():
    seen, _ = looked_at(picture_of(WALL), mask_of(STRIP), np.zeros(SHAPE, bool))
    assert len(seen.suspects) == 1
