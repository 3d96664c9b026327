"""A camera profile on photos of the demo farm with the colours of another camera: readings are restored."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration import CameraProfile
from tests.vision.camera_shot import MIXED, profile_of, retaken
from vision.photo import measure_photo
from vision.pixels import load_picture
from vision.records import PhotoContext, VesselSpec

SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.fixture(scope="module")
def jars() -> tuple[list[np.ndarray], PhotoContext]:
    """Two jars on two days, half grown."""
    rows = list(csv.DictReader((SAMPLES / "vessels.csv").read_text("utf-8").splitlines()))
    specs = {row["vessel"]: VesselSpec(row["vessel"], row["kind"], row["species"], row["substrate"]) for row in rows}
    photos = sorted((SAMPLES / "photos" / "jars").glob("*.jpg"))
    return [load_picture(photos[day]).rgb for day in (1, 3)], PhotoContext(vessels=specs)


def percents(rgbs: list[np.ndarray], context: PhotoContext, profile: CameraProfile | None = None) -> list[float]:
    measured = [measure_photo(rgb, replace(context, profile=profile)) for rgb in rgbs]
    read = {(day, one.reading.vessel): one.reading.percent for day, photo in enumerate(measured) for one in photo}
    return [percent for _, percent in sorted(read.items()) if percent is not None]


def test_the_profile_of_a_plain_srgb_camera_changes_nothing(jars: tuple[list[np.ndarray], PhotoContext]) -> None:
    plain = percents(*jars)
    assert len(plain) == 4
    assert percents(*jars, profile_of(np.eye(3))) == pytest.approx(plain, abs=0.5)


def test_a_profile_reduces_the_error_on_photos_of_a_camera_that_mixes_colours(
    jars: tuple[list[np.ndarray], PhotoContext],
) -> None:
    rgbs, context = jars
    mixed = [retaken(rgb, MIXED) for rgb in rgbs]
    plain = np.array(percents(rgbs, context))
    without = np.abs(np.array(percents(mixed, context)) - plain).mean()
    by_profile = np.abs(np.array(percents(mixed, context, profile_of(MIXED))) - plain).mean()
    # The readings differ by some tenths of a point between processors.
    assert by_profile < 0.4
    assert by_profile < without
