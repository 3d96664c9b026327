"""Findings about a photo of labels or of a chart, on drawn photos with known faults."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calibration import LABELS, CameraProfile
from farm.measure import Vision, measure_paths
from farm.records import keep_profile, load_profiles, update_profile
from farm.store import Farm
from farm.store.errors import CalibrationError, SettingsError
from farm.study import calibrate_camera
from tests.farm.painted import read_paint
from tests.vision.camera_shot import MIXED, chart, save, sheet, shot
from vision.records import MeasuredVessel, PhotoContext

IDS = [f"B{number:03}" for number in range(9)]


def findings(photo: np.ndarray, tmp_path: Path, **options: Any) -> dict[str, Any]:
    told = calibrate_camera(save(photo, tmp_path / "shot.jpg"), **options)
    return {one.check: one for one in told.findings} | {"profile": told.profile}


@pytest.fixture
def without_chart(monkeypatch: pytest.MonkeyPatch) -> None:
    """For photos that show labels only, since the search for a chart takes seconds and is tested elsewhere."""
    monkeypatch.setattr("vision.camera.inspection.find_chart", lambda _: None)


def test_a_good_camera_in_good_light_gives_no_advice(tmp_path: Path) -> None:
    told = findings(shot(sheet(4, IDS)), tmp_path)
    assert [one.check for one in told.values() if one is not None and not one.fine] == []
    assert told["scale"].value == pytest.approx(4.0, rel=0.01)
    assert told["labels"].value == 9
    assert told["profile"] is None
    # The card is lit with 1.0, so a perfect white would fill the scale.
    assert told["exposure"].value == pytest.approx(100, abs=2)


@pytest.mark.usefixtures("without_chart")
def test_small_labels_are_reported_by_their_size(tmp_path: Path) -> None:
    told = findings(shot(sheet(4, IDS)), tmp_path, label_size="small")
    assert told["scale"].value == pytest.approx(8.0, rel=0.01)


@pytest.mark.usefixtures("without_chart")
@pytest.mark.parametrize(("darker", "columns"), [(0.45, 3), (0.6, 3), (0.6, 4)])
def test_a_lamp_to_the_right_is_reported_with_the_share_by_which_the_left_is_darker(
    tmp_path: Path, darker: float, columns: int
) -> None:
    ids = [f"B{number:03}" for number in range(3 * columns)]
    photo = shot(sheet(4, ids, columns=columns), darker_left=darker, exposure=0.9)
    told = findings(photo, tmp_path)["even light"]
    # Patches lie 16 + 50 mm into each column of 92 mm; the outer columns lie in the outer thirds.
    left, right = (1 - darker + darker * (66 + 92 * column) / (92 * columns) for column in (0, columns - 1))
    assert told.value == pytest.approx(100 * (1 - left / right), abs=1.0)
    assert told.says == f"move the lamp: the left third is {told.value:.0f} % darker than the right third"
    assert not told.fine


@pytest.mark.usefixtures("without_chart")
@pytest.mark.parametrize(("columns", "darker"), [(2, 0.4), (4, 0.5)])
def test_light_from_one_side_is_measured_on_a_sheet_of_any_number_of_columns(
    tmp_path: Path, columns: int, darker: float
) -> None:
    """Two labels in all, side by side in the middle of a wide frame; or one row of four."""
    scene = sheet(4, IDS[:columns], columns=columns)
    wide = np.pad(scene, ((scene.shape[0] // 2,) * 2, (scene.shape[1] // 2,) * 2, (0, 0)), mode="edge")
    told = findings(shot(wide, darker_left=darker, exposure=0.9), tmp_path)["even light"]
    # White of each label as part of the width: half a card on the left, then 16 + 50 mm into each column of 92 mm.
    places = [(columns * 46 + 66 + 92 * column) / (columns * 184) for column in range(columns)]
    light = [1 - darker + darker * place for place in places]
    half = columns // 2
    left, right = np.median(light[:half]), np.median(light[half:])
    assert told.value == pytest.approx(100 * (1 - left / right), abs=2.5)
    assert "labels' left is" in told.says
    assert told.says.endswith("from top to bottom it is not known: spread labels over the frame")


@pytest.mark.usefixtures("without_chart")
def test_a_single_column_of_labels_says_that_the_light_across_it_is_not_known(tmp_path: Path) -> None:
    told = findings(shot(sheet(4, IDS[:4], columns=1), darker_left=0.4), tmp_path)["even light"]
    assert told.says.endswith("from left to right it is not known: spread labels over the frame")


@pytest.mark.usefixtures("without_chart")
def test_a_camera_too_far_away_is_reported(tmp_path: Path) -> None:
    told = findings(shot(sheet(2.3, IDS), blur_px=0.9, noise=2), tmp_path)["smallest label"]
    assert not told.fine
    assert "barely read: come closer" in told.says


@pytest.mark.usefixtures("without_chart")
def test_dark_and_bright_pictures_are_reported(tmp_path: Path) -> None:
    assert "expose longer" in findings(shot(sheet(4, IDS), exposure=0.2), tmp_path)["exposure"].says
    assert "expose less" in findings(shot(sheet(4, IDS), exposure=1.5), tmp_path)["exposure"].says


@pytest.mark.usefixtures("without_chart")
def test_a_picture_style_is_reported(tmp_path: Path) -> None:
    told = findings(shot(sheet(4, IDS), gamma=1.4, exposure=0.9), tmp_path)["tone"]
    assert not told.fine
    assert "turn off HDR" in told.says
    # Greys are compared with the middle of their errors in logarithms; the lightest is off by the power of 0.4.
    light, *middle, _ = (patch.light for patch in LABELS["normal"].patches)
    assert told.value == pytest.approx(100 * ((light / np.sqrt(np.prod(middle))) ** 0.4 - 1), abs=3)


def test_an_srgb_camera_needs_no_profile(tmp_path: Path) -> None:
    profile = findings(shot(chart(), exposure=0.9), tmp_path)["profile"]
    assert not profile.helps
    assert not profile.shoulder
    assert np.array(profile.matrix) == pytest.approx(np.eye(3), abs=0.02)


def test_a_camera_that_mixes_colours_gets_one(tmp_path: Path) -> None:
    told = findings(shot(chart(60), mixed=MIXED, cast=(1.1, 1.0, 0.85), darker_left=0.2, exposure=0.8), tmp_path)
    profile = told["profile"]
    assert profile.helps
    assert (profile.camera, profile.difference_after < 0.6 < 4 < profile.difference_before) == ("Maker Model 1", True)
    assert "worth using" in told["colour"].says


def test_a_photo_without_labels_or_chart_is_refused_with_advice(tmp_path: Path) -> None:
    with pytest.raises(CalibrationError, match="fill the frame with a sheet of labels"):
        findings(shot(np.full((300, 400, 3), 0.3)), tmp_path)
    with pytest.raises(CalibrationError, match=r"none\.jpg: not a file"):
        calibrate_camera(tmp_path / "none.jpg")


IDENTITY = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


def test_a_farm_stores_one_profile_for_each_camera(farm: Farm) -> None:
    first, second = (CameraProfile(name, IDENTITY, False, 4.0, 1.0) for name in ("A", "Ü \N{GREEK SMALL LETTER PI}"))
    assert load_profiles(farm) == {}
    keep_profile(farm, first)
    keep_profile(farm, second)
    assert load_profiles(farm) == {first.camera: first, second.camera: second}
    newer = CameraProfile("A", IDENTITY, True, 5.0, 1.0)
    keep_profile(farm, newer)
    assert load_profiles(farm)["A"] == newer
    assert update_profile(farm, newer) == "kept"
    no_better = CameraProfile("A", IDENTITY, True, 1.0, 1.0)
    assert [update_profile(farm, no_better) for _ in range(2)] == ["forgotten", "not needed"]
    assert load_profiles(farm) == {second.camera: second}


@pytest.mark.parametrize("text", ["", "{}", "[{}]", '[{"camera": "A", "matrix": [[1]]}]', "\xff"])
def test_a_damaged_file_of_profiles_is_reported(farm: Farm, text: str) -> None:
    (farm.folder / "cameras.json").write_text(text, "latin-1")
    with pytest.raises(SettingsError, match="calibrate again"):
        load_profiles(farm)


def test_the_profile_is_used_for_photos_of_its_camera_only(farm: Farm, vision: Vision, tmp_path: Path) -> None:
    from dataclasses import replace

    asked = []

    def measure(rgb: np.ndarray, context: PhotoContext) -> tuple[MeasuredVessel, ...]:
        asked.append(None if context.profile is None else context.profile.camera)
        return read_paint(rgb, context)

    keep_profile(farm, CameraProfile("Maker Model 1", IDENTITY, False, 4.0, 1.0))
    for number, model in enumerate(("Model 1", "Model 2", "Maker Model 1")):
        save(np.zeros((30, 30, 3), np.uint8) + number, tmp_path / "in" / f"{number}.jpg", model)
    measure_paths(farm, [tmp_path / "in"], vision=replace(vision, measure_photo=measure))
    assert asked == ["Maker Model 1", None, "Maker Model 1"]
    assert json.loads((farm.folder / "cameras.json").read_text())[0]["camera"] == "Maker Model 1"
