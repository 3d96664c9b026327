"""A picture in which growth cannot be told gives no number, and a suspect in it is not lost."""

from dataclasses import replace

import numpy as np
import pytest

import vision.photo.measure_face
from tests.values import known
from tests.vision.drawn import bag_photo, with_patch
from vision.photo import measure_photo
from vision.photo.measure_face import width_of_bounds
from vision.records import PhotoContext, Reading, VesselSpec

CONTEXT = PhotoContext({"BAG-1": VesselSpec("BAG-1", "bag", species="oyster", substrate="sawdust")})


def photo(*, label: bool, mould: bool):
    picture = bag_photo("BAG-1", 0.5 if mould else 0.4)
    if not label:
        picture[290:430, 400:600] = picture[500:640, 400:600]
    if mould:
        picture = with_patch(picture, 230, 120, 22)
    return picture


@pytest.fixture
def nothing_can_be_told(monkeypatch):
    """As if bounds were always too wide."""
    monkeypatch.setattr(vision.photo.measure_face, "WIDEST", -1.0)
    monkeypatch.setattr(vision.photo.measure_face, "WIDEST_WITH_SUSPECT", -1.0)


def measured(*, label: bool, mould: bool):
    (found,) = measure_photo(photo(label=label, mould=mould), replace(CONTEXT, owner=None if label else "BAG-1"))
    return found


def read(*, label: bool, mould: bool):
    return measured(label=label, mould=mould).reading


@pytest.mark.usefixtures("nothing_can_be_told")
def test_a_labelled_face_is_refused_and_the_reason_says_how_to_take_it_again():
    reading = read(label=True, mould=False)
    assert (reading.status, reading.percent) == ("unusable", None)
    assert reading.reason.startswith("retake: what is mycelium cannot be told here; light it evenly")


@pytest.mark.usefixtures("nothing_can_be_told")
@pytest.mark.parametrize("label", [True, False])
def test_the_refusal_tells_of_a_suspect_so_that_its_vessel_is_followed(label):
    moulded = read(label=label, mould=True)
    assert (moulded.status, moulded.percent) == ("unusable", None)
    assert moulded.reason.endswith("may be mould (green): look at it and keep the vessel closed")
    assert [one.colour for one in moulded.suspects] == ["green"]
    assert known(moulded.mm_per_px) > 0  # so that its place is comparable


@pytest.mark.usefixtures("nothing_can_be_told")
def test_the_face_of_a_refusal_is_handed_out_only_where_there_is_a_suspect_to_look_at():
    moulded, clean = measured(label=True, mould=True), measured(label=True, mould=False)
    assert moulded.face is None  # nothing takes it for one that was read
    assert (clean.face, clean.refused_face) == (None, None)
    face, (suspect,) = moulded.refused_face, moulded.reading.suspects
    left, top, width, height = suspect.box
    middle = np.linalg.inv(face.to_photo) @ (left + width / 2, top + height / 2, 1.0)
    red, green, blue = face.rgb[round(middle[1]), round(middle[0])].astype(int)
    assert green > red
    assert green > blue  # the painted mould stands where the suspect lies


@pytest.mark.usefixtures("nothing_can_be_told")
def test_without_a_label_the_reason_is_its_absence():
    clean = read(label=False, mould=False)
    assert clean.reason == "retake: what is mycelium cannot be told without a label; lay one beside the vessel"


def test_a_labelled_face_with_a_suspect_may_have_wider_bounds(monkeypatch):
    monkeypatch.setattr(vision.photo.measure_face, "WIDEST", -1.0)
    assert read(label=True, mould=True).status == "ok"
    assert read(label=True, mould=False).status == "unusable"
    assert read(label=False, mould=True).status == "unusable"


@pytest.mark.parametrize(
    ("kind", "labelled", "bounds", "width"),
    [
        ("plate", True, (96.0, 88.0, 100.0), 16.0),  # 8 points to the lower bound; the upper one is cut off
        ("plate", True, (1.0, 0.0, 8.0), 14.0),
        ("plate", True, (50.0, 45.0, 56.0), 12.0),
        ("bag", True, (96.0, 88.0, 100.0), 12.0),
        ("bag", False, (96.0, 88.0, 100.0), 16.0),
    ],
)
def test_where_bare_and_full_look_alike_bounds_count_as_if_they_were_not_cut_off(kind, labelled, bounds, width):
    percent, low, high = bounds
    reading = Reading("V1", kind, "ok", percent=percent, percent_low=low, percent_high=high)
    measured_width = width_of_bounds(reading, VesselSpec("V1", kind), labelled=labelled)
    assert measured_width == pytest.approx(width)
