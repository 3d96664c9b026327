"""Blur, light and colours of a camera, measured on drawn photos with known values."""

import cv2
import numpy as np
import pytest

from calibration import CameraProfile, chart_light
from tests.vision.camera_shot import MIXED, chart, decoded, encoded, sheet, shot
from tests.vision.test_labels import _photo_of
from vision.camera import inspect_camera
from vision.camera.measure_chart import find_chart
from vision.pixels.camera_profile import apply_profile
from vision.pixels.light import apply_shoulder, undo_shoulder


@pytest.fixture
def without_chart(monkeypatch: pytest.MonkeyPatch) -> None:
    """For photos that show labels only: looking for a chart in them takes seconds."""
    monkeypatch.setattr("vision.camera.inspection.find_chart", lambda _: None)


@pytest.mark.usefixtures("without_chart")
@pytest.mark.parametrize("px_per_mm", [3.0, 5.0, 9.0])
@pytest.mark.parametrize("blur", [1.0, 1.5])
def test_blur_is_measured_to_a_tenth(px_per_mm: float, blur: float) -> None:
    photo, _ = _photo_of("B017", px_per_mm, turn_degrees=7, blur=blur, noise=2)
    (label,) = inspect_camera(photo, {}).labels
    assert label.blur_px == pytest.approx(blur, rel=0.1)
    assert label.px_per_mm == pytest.approx(px_per_mm, rel=0.01)


@pytest.mark.usefixtures("without_chart")
def test_blur_across_one_direction_is_reported() -> None:
    still, _ = _photo_of("B017", 5.0, blur=0.6)
    moved = cv2.GaussianBlur(still, (0, 0), sigmaX=2.5, sigmaY=0.01)
    (label,) = inspect_camera(moved, {}).labels
    assert label.blur_px == pytest.approx(2.57, rel=0.1)


@pytest.mark.usefixtures("without_chart")
@pytest.mark.parametrize("share", [0.7, 0.85])
def test_the_smallest_readable_label_size_is_readable(share: float) -> None:
    """A label reported as readable at a share of its size is read when drawn at that share, with the same blur."""
    large, _ = _photo_of("J-12", 4.0, blur=1.2, noise=3)
    (label,) = inspect_camera(large, {}).labels
    assert label.smallest_share is not None
    assert 0.5 < label.smallest_share < 0.9
    small, _ = _photo_of("J-12", 4.0 * max(share, label.smallest_share), blur=1.2, noise=3)
    assert [one.text for one in inspect_camera(small, {}).labels] == ["J-12"]


def _turned_chart(turn: float) -> tuple[np.ndarray, np.ndarray]:
    """A photo of the chart rotated by an angle in degrees, and the place (row, column) of its first patch."""
    plain = chart(50)
    rows, columns = plain.shape[:2]
    warp = cv2.getRotationMatrix2D((columns / 2, rows / 2), turn, 1.0)
    warp[:, 2] += (600 - columns / 2, 420 - rows / 2)
    wall = np.full((840, 1200, 3), 0.2)
    turned = cv2.warpAffine(plain, warp, (1200, 840))
    mask = cv2.warpAffine(np.ones((rows, columns)), warp, (1200, 840)) > 0.99
    wall[mask] = turned[mask]
    corner = warp @ np.array([2 * 6 + 25, 2 * 6 + 25, 1])
    return shot(wall, exposure=0.9), corner[::-1]


def test_a_chart_is_found_at_nearly_any_rotation_and_its_patches_are_measured() -> None:
    """The library's detector is random and may miss a chart once; the charts that it finds must be right."""
    found = 0
    for turn in (0, 10, 90, 180, -30):
        photo, corner = _turned_chart(turn)
        if (seen := find_chart(photo)) is None:
            continue
        found += 1
        assert seen.light == pytest.approx(np.clip(0.9 * chart_light(), 0, 1), abs=0.012)
        assert seen.places[0] == pytest.approx(corner, abs=12)  # a quarter of a patch
    assert found >= 3


@pytest.mark.parametrize("blur", [1.0, 6.0])
def test_no_chart_is_found_in_noise(blur: float) -> None:
    noise = np.random.default_rng(0).integers(0, 255, (500, 700, 3)).astype(np.uint8)
    assert find_chart(np.asarray(cv2.GaussianBlur(noise, (0, 0), blur), np.uint8)) is None


def test_no_chart_is_found_on_a_sheet_of_labels() -> None:
    assert find_chart(shot(sheet(3, ["A", "B", "C"]))) is None


@pytest.mark.parametrize("shape", [(1, 1, 3), (30, 5, 3), (200, 300, 3)])
def test_a_picture_of_nothing_gives_no_findings(shape: tuple[int, ...]) -> None:
    look = inspect_camera(np.full(shape, 90, np.uint8), {})
    assert (look.labels, look.n_unread, look.chart) == ((), 0, None)


def test_a_profile_restores_colours() -> None:
    photo = shot(chart(30), mixed=MIXED, exposure=0.9, noise=0)
    unmixed = CameraProfile("A", tuple(map(tuple, np.linalg.inv(MIXED))), False, 4.0, 0.3)
    true = shot(chart(30), exposure=0.9, noise=0)
    assert np.abs(apply_profile(photo, unmixed).astype(int) - true).mean() < 0.6
    assert np.abs(photo.astype(int) - true).mean() > 5


def test_without_a_profile_or_with_the_identity_the_photo_is_unchanged() -> None:
    photo = shot(chart(10))
    same = CameraProfile("A", ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)), True, 1.0, 1.0)
    assert apply_profile(photo, None) is photo
    assert apply_profile(photo, same) is photo


def test_neutral_stays_neutral_under_a_profile_with_bent_highlights() -> None:
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    profile = CameraProfile("A", tuple(map(tuple, np.linalg.inv(MIXED))), True, 4.0, 0.3)
    assert np.abs(apply_profile(ramp, profile).astype(int) - ramp)[:, :250].max() <= 1


def test_the_highlight_curve_is_the_inverse_of_its_removal() -> None:
    light = np.linspace(0, 0.97, 50)
    assert apply_shoulder(undo_shoulder(light)) == pytest.approx(light, abs=1e-5)
    assert decoded(255 * encoded(light)) == pytest.approx(light, abs=1e-6)
