"""Rendered scenes: truth by definition, size and greys of labels, complete plans. No renderer needed."""

import re
from dataclasses import replace

import cv2
import numpy as np
import pytest
import zxingcpp

from calibration import LABELS, VESSEL_ID_PATTERN
from training.scenes.growth import HALF_HIDDEN_AT, Culture, Grown, classify, look, opacity_at, plant
from training.scenes.meshes import box, place, placing, turned, upright_disc
from training.scenes.moulds import Mould
from training.scenes.pieces import Bed, bed
from training.scenes.recipes import SCENES
from training.scenes.sticker import draw_label
from training.scenes.vessels import bag, jar, plate

EVEN = Culture("cottony", mm_per_day=6.0, lag_hours=24.0, tau_hours=30.0, points=1, start="plug", spread=0.0)


def flat_bed(rows_mm: int, columns_mm: int) -> Bed:
    shape = (rows_mm * 3, columns_mm * 3)
    return Bed(np.full((*shape, 3), 0.1, np.float32), np.zeros(shape, np.float32), 3.0)


def smooth(grown: Grown) -> Grown:
    """The same history without the strands at the front."""
    return replace(grown, pattern=np.zeros_like(grown.pattern))


def test_a_colony_grows_at_its_rate() -> None:
    """Trinci 1971: the radius of a colony on agar grows at a constant rate, so its area grows as time squared."""
    grown = smooth(plant(np.random.default_rng(3), flat_bed(90, 110), EVEN))
    areas = []
    for hours in (96.0, 144.0):
        classes, _ = classify(grown, hours)
        areas.append((classes == 2).sum() / 9.0)
        # colonised where the ramp, which ends at 0.97, has passed the opacity that counts as half
        radius_mm = 6.0 / 24 * (hours - 24.0 + 30.0 * np.log(1 - HALF_HIDDEN_AT / 0.97))
        assert np.sqrt(areas[-1] / np.pi) == pytest.approx(radius_mm, rel=0.12)
    assert areas[1] > 2 * areas[0]


def test_a_point_is_colonised_if_half_is_hidden_over_three_millimetres() -> None:
    grown = smooth(plant(np.random.default_rng(4), flat_bed(60, 70), EVEN))
    hidden = cv2.blur(opacity_at(grown, 120.0), (9, 9), borderType=cv2.BORDER_REPLICATE)
    classes, coloured = classify(grown, 120.0)
    assert ((hidden >= HALF_HIDDEN_AT) == (classes == 2)).all()
    assert not coloured.any()


def test_a_mould_is_pale_before_it_is_coloured_and_is_never_colonised() -> None:
    mould = Mould("green", first_hours=30.0, mm_per_day=6.0, place=(0.5, 0.5), colour_delay_hours=40.0)
    grown = plant(np.random.default_rng(5), flat_bed(60, 70), EVEN, (mould,))
    young, young_coloured = classify(grown, 60.0)
    old, old_coloured = classify(grown, 150.0)
    assert (young == 3).any()
    assert not young_coloured.any()
    assert old_coloured.any()
    assert (old[old_coloured] == 3).all()
    middle = look(grown, 150.0).albedo[90, 105]
    assert middle[1] > 1.3 * middle[0]


def test_a_stalled_vessel_stops_growing() -> None:
    grown = plant(np.random.default_rng(6), flat_bed(60, 70), replace(EVEN, stalled_hours=80.0))
    assert (classify(grown, 80.0)[0] == classify(grown, 400.0)[0]).all()


@pytest.mark.parametrize("size", ["normal", "small"])
def test_the_label_is_decoded_and_its_patches_have_their_greys(size: str) -> None:
    linear = draw_label("HW/A1", size)[..., 0] / 0.86
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    read = zxingcpp.read_barcodes((255 * np.clip(encoded, 0, 1)).astype(np.uint8))
    assert [one.text for one in read] == ["HW/A1"]
    label = LABELS[size]  # type: ignore[index]
    scale = linear.shape[1] / label.width_mm
    for patch in label.patches:
        row = int((patch.top_mm + patch.side_mm / 2) * scale)
        column = int((patch.left_mm + patch.side_mm / 2) * scale)
        assert 255 * encoded[row, column] == pytest.approx(patch.srgb, abs=4)


def test_the_label_of_a_bag_has_its_true_size_and_lies_in_front_of_the_face() -> None:
    body = bag(np.random.default_rng(7), 180.0, 230.0, 108.0, 90.0, (60.0, 40.0), tagged=True)
    assert body.corners is not None
    sides = np.linalg.norm(body.corners - np.roll(body.corners, -1, axis=0), axis=1)
    assert sides == pytest.approx([60, 40, 60, 40], rel=0.04)
    assert [name for name, _ in body.parts] == ["film", "patch", "tag"]
    points = body.surface.points
    assert np.ptp(points[:, 0]) == pytest.approx(180, abs=20)
    assert np.ptp(points[:, 1]) == pytest.approx(230, abs=20)


def test_faces_of_meshes_point_outwards() -> None:
    for mesh in (box(30, 20, 10), turned(((5, 20), (5, 0)))):
        a, b, c = (mesh.points[mesh.faces[:, k]] for k in range(3))
        outwards = (a + b + c) / 3 - mesh.points.mean(axis=0)
        assert (np.einsum("ij,ij->i", np.cross(b - a, c - a), outwards) > 0).all()
    disc = upright_disc(40.0)
    a, b, c = (disc.points[disc.faces[:, k]] for k in range(3))
    assert np.cross(b - a, c - a)[:, 2].min() > -1e-9


def test_placing_is_rigid() -> None:
    move = placing((3, 4, 5), turn_degrees=25, lean_degrees=5, spin_degrees=-8)
    assert move[:3, :3] @ move[:3, :3].T == pytest.approx(np.eye(3), abs=1e-12)
    assert place(np.zeros(3), move) == pytest.approx((3, 4, 5))


def test_jar_and_plate_have_their_sizes() -> None:
    grain = jar(np.random.default_rng(8), 44.0, 118.0, 30.0)
    assert grain.bed_mm == pytest.approx((118.0, np.pi * 44.0))
    assert np.abs(plate(43.0, ((0.0, 0.0),)).surface.points[:, :2]).max() == pytest.approx(43.0, abs=0.1)


@pytest.mark.parametrize("name", sorted(SCENES))
def test_plans_are_complete(name: str) -> None:
    plan = SCENES[name]()
    assert plan.name == name
    assert len(plan.hours) == len(plan.stops)
    assert list(plan.hours) == sorted(plan.hours)
    assert len({vessel.id for vessel in plan.vessels}) == len(plan.vessels)
    for vessel in plan.vessels:
        assert re.fullmatch(VESSEL_ID_PATTERN, vessel.id)
        assert bed(np.random.default_rng(1), vessel.substrate, (20, 24), 3.0).albedo.shape == (60, 72, 3)
