"""A profile on a photo of the demo farm, as if another camera had taken it: readings come back to what they were."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration import CameraProfile
from tests.vision.camera_shot import MIXED, profile_of, retaken
from vision import PhotoContext, VesselSpec, load_picture, measure_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.fixture(scope="module")
def jars() -> tuple[np.ndarray, PhotoContext]:
    rows = list(csv.DictReader((SAMPLES / "vessels.csv").read_text("utf-8").splitlines()))
    specs = {row["id"]: VesselSpec(row["id"], row["kind"], row["species"], row["substrate"]) for row in rows}
    photo = sorted((SAMPLES / "photos" / "jars").glob("*.jpg"))[3]
    return load_picture(photo).rgb, PhotoContext(vessels=specs)


def percents(rgb: np.ndarray, context: PhotoContext, profile: CameraProfile | None = None) -> dict[str, float]:
    measured = measure_photo(rgb, replace(context, profile=profile))
    return {one.reading.vessel: one.reading.percent for one in measured if one.reading.percent is not None}


def test_the_profile_of_a_plain_srgb_camera_changes_nothing(jars: tuple[np.ndarray, PhotoContext]) -> None:
    plain = percents(*jars)
    assert len(plain) == 2
    assert percents(*jars, profile_of(np.eye(3))) == pytest.approx(plain, abs=0.5)


def test_a_photo_of_a_camera_that_mixes_colours_is_read_nearer_to_the_truth_by_its_profile(
    jars: tuple[np.ndarray, PhotoContext],
) -> None:
    rgb, context = jars
    mixed = retaken(rgb, MIXED)
    plain = percents(rgb, context)
    off = {
        name: np.mean([abs(percent - plain[vessel]) for vessel, percent in percents(mixed, context, profile).items()])
        for name, profile in (("without", None), ("by profile", profile_of(MIXED)))
    }
    assert off["by profile"] < 0.3
    assert off["by profile"] < off["without"]
