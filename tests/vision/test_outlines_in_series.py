"""Outlines of later photos: a dish keeps the size that most of its photos show."""

import numpy as np
import pytest

from vision.days import outlines
from vision.days.outlines import diameter_mm, outline_in_series
from vision.days.past import Past
from vision.records import BARE, Face, VesselSpec

PX_PER_MM = 2.0


def dish(diameter: float) -> Face:
    rows, columns = np.indices((230, 232))
    disc = np.hypot(rows - 115, columns - 116) <= diameter * PX_PER_MM / 2
    classes = disc.astype(np.uint8) * np.uint8(BARE)
    return Face(np.zeros((230, 232, 3), np.uint8), classes, classes, PX_PER_MM, np.eye(3), labelled=True)


@pytest.mark.parametrize("diameter", [84, 86, 100])
def test_the_size_of_a_dish_is_that_of_its_agar(diameter: float) -> None:
    assert diameter_mm(dish(diameter)) == pytest.approx(diameter, abs=0.6)


def test_photos_of_a_dish_share_its_median_size(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three photos show discs of 84, 86 and 100 mm: the wrong one has no effect."""
    sought: list[float] = []

    def find_dish(spec: VesselSpec, *_: object, size_spread: float) -> tuple[np.ndarray, float]:
        assert spec.diameter_mm is not None
        sought.append(spec.diameter_mm)
        return np.ones((230, 232), bool), 1.0

    monkeypatch.setattr(outlines, "find_dish", find_dish)
    plate = VesselSpec("P1", "plate")
    past = Past(n_read=2, n_labelled=2, diameters_mm=(84.0, 86.0))
    outline_in_series(past, dish(100), plate)
    assert sought == [86.0]
    first = outline_in_series(Past(), dish(84), plate)
    assert sought == [86.0], "the first photo's outline is its own"
    assert first.sum() == (dish(84).classes > 0).sum()
