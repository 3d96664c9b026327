"""Empty dishes without a label: at any exposure, of any agar, hardly anything is said to grow, or no number given."""

import cv2
import numpy as np
import pytest

from vision.photo import measure_photo
from vision.pixels import decode_srgb8, encode_srgb8
from vision.records import PhotoContext

#: sRGB of the agar, as drawn; common practice, no source.
AGARS = {
    "clear": (150, 150, 146),
    "white": (226, 226, 222),
    "cream": (228, 216, 186),
    "malt": (190, 150, 80),
    "blue": (120, 140, 190),
    "charcoal": (42, 42, 44),
}


def empty_dish(agar: tuple[int, int, int], stops: float) -> np.ndarray:
    """A dish seen from above on a dark table, exposed by so many stops more; uint8 RGB (700, 800, 3)."""
    rng = np.random.default_rng(5)
    picture = np.full((700, 800, 3), (66, 62, 58), np.uint8)
    for radius, colour in ((262, (208, 210, 212)), (256, (120, 122, 126)), (246, agar)):
        cv2.circle(picture, (400, 350), radius, colour, -1, cv2.LINE_AA)
    picture = np.clip(picture + rng.normal(0, 2, (700, 800, 1)), 0, 255).astype(np.uint8)
    light = decode_srgb8(np.asarray(cv2.GaussianBlur(picture, (0, 0), 1.0), np.uint8)) * 2.0**stops
    return encode_srgb8(np.asarray(light, np.float32))


@pytest.mark.parametrize("stops", [-2, -1, 0, 1, 2])
@pytest.mark.parametrize("agar", AGARS)
def test_an_empty_dish_reads_almost_empty_or_has_no_number(agar, stops):
    (measured,) = measure_photo(empty_dish(AGARS[agar], stops), PhotoContext(kind="plate"))
    reading = measured.reading
    if reading.percent is None:
        assert reading.reason.startswith("retake: ")
    else:
        assert reading.percent <= 8.0  # 7.4 is the largest; 5 is aimed at
        assert reading.percent_low == 0.0
