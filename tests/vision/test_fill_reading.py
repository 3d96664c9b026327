"""The share of a face outside the photo widens the bounds, and percents stay within 0 to 100."""

import numpy as np
import pytest

from tests.values import known
from vision.records import Face, MeasuredVessel, Reading
from vision.surface import fill_reading
from vision.surface.segment import FaceSegmentation

SHAPE = (40, 50)


def fill(mycelium: float, *, cut_share: float = 0.0, veiled_rows: int = 0, flags: tuple[str, ...] = ()) -> Reading:
    """A face whose upper share is certainly colonised and whose rest is certainly bare."""
    grown = np.zeros(SHAPE, np.float32)
    grown[: round(mycelium * SHAPE[0])] = 1
    veiled = np.zeros(SHAPE, bool)
    veiled[:veiled_rows] = True
    inside, label = np.ones(SHAPE, bool), np.zeros(SHAPE, bool)
    blank = np.zeros(SHAPE, np.uint8)
    face = Face(np.zeros((*SHAPE, 3), np.uint8), blank, blank, 2.0, np.eye(3), labelled=True)
    reading = Reading("B1", "bag", "ok", flags=flags)
    filled: MeasuredVessel = fill_reading(
        reading, face, FaceSegmentation(grown, veiled, ()), inside, label, cut_share=cut_share
    )
    return filled.reading


@pytest.mark.parametrize("cut_share", [0.05, 0.2, 0.4])
def test_the_share_outside_the_photo_counts_as_hidden_and_widens_the_bounds(cut_share):
    """If a share s of the face is not seen, the percent of the whole face may differ by up to 100 s points."""
    whole, cut = fill(0.5), fill(0.5, cut_share=cut_share)
    assert cut.percent == whole.percent == 50
    assert cut.hidden_percent == pytest.approx(100 * cut_share)
    width = known(cut.percent_high) - known(cut.percent_low)
    assert width - (known(whole.percent_high) - known(whole.percent_low)) == pytest.approx(100 * cut_share, abs=0.02)


def test_hidden_shares_add_up():
    assert fill(0.5, cut_share=0.25, veiled_rows=10).hidden_percent == pytest.approx(50)


def test_bounds_and_hidden_share_stay_percents():
    full, empty = fill(1.0, cut_share=0.3), fill(0.0, cut_share=0.3)
    assert (full.percent, full.percent_high) == (100, 100)
    assert (empty.percent, empty.percent_low) == (0, 0)
    assert fill(0.5, cut_share=0.9, veiled_rows=30).hidden_percent == 100


def test_a_soft_picture_has_wider_bounds():
    sharp, soft = fill(0.5), fill(0.5, flags=("soft",))
    assert known(soft.percent_low) < known(sharp.percent_low)
    assert known(soft.percent_high) > known(sharp.percent_high)
