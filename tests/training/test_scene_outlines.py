"""Faces to learn from within the program's own outlines, and what of these is no surface."""

from typing import Any

import numpy as np
import pytest

from calibration import LABELS
from tests.vision.drawn import bag_photo
from vision.records import VesselSpec

BAG = VesselSpec("BAG-1", "bag")
PX_PER_MM = 3.0
#: Where ``bag_photo`` puts the sticker: left and top, px.
LEFT, TOP = 405, 294


def told(width_mm: float, height_mm: float) -> dict[str, Any]:
    """What truth.json says of the drawn bag."""
    right, bottom = LEFT + width_mm * PX_PER_MM, TOP + height_mm * PX_PER_MM
    corners = [[LEFT, TOP], [right, TOP], [right, bottom], [LEFT, bottom]]
    return {"vessels": [{"id": "BAG-1", "label_mm": [width_mm, height_mm], "label_corners": corners}]}


@pytest.mark.parametrize("size", ["normal", "small"])
def test_the_outline_is_that_of_the_program_by_the_label_as_it_is(size):
    from training.segmenter.outlines import program_outlines

    photo = bag_photo("BAG-1", 0.5, PX_PER_MM, size)
    geometry = LABELS[size]
    truth = told(geometry.width_mm, geometry.height_mm)
    (outline,) = program_outlines(photo, truth, {"BAG-1": BAG}, np.random.default_rng(3)).values()
    label_px = geometry.width_mm * geometry.height_mm * PX_PER_MM**2
    face_px = (176 * 226 - (4 - np.pi) * 16**2) * PX_PER_MM**2
    assert outline.sum() == pytest.approx(face_px - label_px, rel=0.03)
    assert not outline[TOP + 20 : TOP + 40, LEFT + 20 : LEFT + 60].any(), "the label is no face"


def test_what_an_outline_takes_in_beside_the_surface_is_covered():
    pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.dataset import scene_example
    from training.segmenter.scenes import SceneFace
    from training.segmenter.view import COVERED

    classes = np.zeros((120, 120), np.uint8)
    classes[30:90, 30:90] = 1
    outline = classes > 0
    outline[20:30, 30:90] = True
    light = np.full((120, 120, 3), 0.2, np.float32)
    face = SceneFace("S1", "p.jpg", "V1", "bag", light, classes, 2.0, True, 0.0, False, 0.0, None, outline)
    example = scene_example(face)
    covered = example.truth[COVERED].astype(float).sum() / example.within.astype(float).sum()
    assert covered == pytest.approx(600 / 4200, abs=0.02)
    loose = scene_example(face, loosened_mm=3.0)
    assert loose.within.astype(int).sum() > example.within.astype(int).sum()
