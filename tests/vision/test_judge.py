"""Whether a picture can be measured: a picture without a readable label gets a reason."""

from importlib.resources import files
from pathlib import Path

import cv2
import numpy as np
import pytest
from skimage import data

from tests.values import known
from vision.face.judge import judge_light, sharpest_edges_px
from vision.photo import measure_photo
from vision.pixels import grey_of, load_picture
from vision.records import PhotoContext


@pytest.fixture(scope="module")
def shelf() -> np.ndarray:
    folder = Path(str(files("sample_images") / "photos" / "bags"))
    return load_picture(min(folder.iterdir())).rgb


def darkened(rgb: np.ndarray) -> np.ndarray:
    return (rgb * 0.02).astype(np.uint8)


def burnt_out(rgb: np.ndarray) -> np.ndarray:
    return cv2.convertScaleAbs(rgb, alpha=12)


def blurred(rgb: np.ndarray) -> np.ndarray:
    return cv2.GaussianBlur(rgb, (0, 0), 6)


def turned_away(rgb: np.ndarray) -> np.ndarray:
    """A sharp part of the wall and the bags below the labels."""
    return rgb[int(0.7 * rgb.shape[0]) :]


@pytest.mark.parametrize(
    ("spoilt", "cause"),
    [(darkened, "too dark"), (burnt_out, "blown out"), (blurred, "too blurred"), (turned_away, "put labels on")],
)
def test_a_shelf_with_unreadable_labels_gets_a_reason(shelf, spoilt, cause):
    (only,) = measure_photo(spoilt(shelf), PhotoContext())
    assert only.reading.status == "unidentified"
    assert only.reading.percent is None
    assert only.reading.reason.startswith("no label found: ")
    assert cause in only.reading.reason


@pytest.mark.parametrize("labelled", [True, False])
def test_a_face_of_which_most_is_clipped_is_blown_out(labelled):
    face = np.full((40, 60, 3), 200, np.uint8)
    everywhere = np.ones(face.shape[:2], bool)
    assert judge_light(face, everywhere, np.ones(3), labelled=labelled)[0] == ""
    face[:, :40] = 255
    assert "blown out" in judge_light(face, everywhere, np.ones(3), labelled=labelled)[0]


def test_without_a_label_a_face_clipped_in_one_channel_is_blown_out_too():
    face = np.full((40, 60, 3), 200, np.uint8)
    face[:, :36, 0] = 255
    everywhere = np.ones(face.shape[:2], bool)
    assert judge_light(face, everywhere, np.ones(3), labelled=True)[0] == ""
    assert "blown out" in judge_light(face, everywhere, np.ones(3), labelled=False)[0]


@pytest.mark.parametrize("kind", ["plate", "bag", "jar", "block"])
@pytest.mark.parametrize(
    "name",
    [
        "astronaut", "camera", "cat", "page", "text", "rocket", "clock", "gravel", "grass", "brick", "moon", "coins",
        "coffee", "checkerboard", "horse", "colorwheel", "hubble_deep_field", "immunohistochemistry",
    ],
)  # fmt: skip
def test_a_photograph_without_a_vessel_gets_no_percent(name, kind):
    """Photographs and drawings in the wheel of scikit-image, none of a vessel.

    Two of its others are read, as empty: the retina, a disc like a dish, and the logo.
    """
    picture = getattr(data, name)()
    grey = (255 * picture).astype(np.uint8) if picture.dtype == bool else picture
    rgb = np.ascontiguousarray(grey[..., :3] if grey.ndim == 3 else np.dstack([grey] * 3))
    (only,) = measure_photo(rgb, PhotoContext(kind=kind))
    assert only.reading.status == "unusable"
    assert only.reading.percent is None
    assert "no vessel found" in only.reading.reason


@pytest.mark.parametrize("sigma_px", [2.0, 3.0, 5.0])
def test_the_width_of_a_blurred_edge_is_that_of_the_normal_distribution(sigma_px):
    """A step blurred by a Gaussian is its integral: step / steepest slope = sqrt(2 pi) sigma (any table of the normal
    distribution). The measurement adds a blur of 1 px, which adds in quadrature.
    """
    step = np.zeros((200, 204), np.uint8)
    step[:, 100:] = 200
    seen = sharpest_edges_px(np.asarray(cv2.GaussianBlur(step, (0, 0), sigma_px), np.uint8))
    # The window of 25 px is shorter than the tails of a wide edge.
    expected = np.sqrt(2 * np.pi) * np.hypot(sigma_px, 1.0)
    assert seen == pytest.approx(expected, rel=0.12)


def test_a_picture_of_one_tone_has_no_edges():
    assert sharpest_edges_px(np.full((120, 124), 90, np.uint8)) is None


def test_the_sample_photos_are_sharp(shelf):
    assert known(sharpest_edges_px(grey_of(shelf))) < 3.5
