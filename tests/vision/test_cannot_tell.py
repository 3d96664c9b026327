"""A picture in which growth cannot be told gives no number, and a suspect in it is not lost."""

from dataclasses import replace

import pytest

import vision.photo.measure_face
from tests.values import known
from tests.vision.drawn import bag_photo
from vision.photo import measure_photo
from vision.records import PhotoContext, VesselSpec

CONTEXT = PhotoContext({"BAG-1": VesselSpec("BAG-1", "bag", species="oyster", substrate="sawdust")})


def photo(*, label: bool, mould: bool):
    picture = bag_photo("BAG-1", 0.5)
    if not label:
        picture[290:430, 400:600] = picture[500:640, 400:600]
    if mould:
        picture[690:756, 360:426] = (60, 104, 58)
    return picture


@pytest.fixture
def nothing_can_be_told(monkeypatch):
    """As if bounds were always too wide."""
    monkeypatch.setattr(vision.photo.measure_face, "WIDEST", -1.0)


def read(*, label: bool, mould: bool):
    (measured,) = measure_photo(photo(label=label, mould=mould), replace(CONTEXT, owner=None if label else "BAG-1"))
    return measured.reading


@pytest.mark.usefixtures("nothing_can_be_told")
def test_a_labelled_face_is_refused_and_the_reason_says_how_to_take_it_again():
    reading = read(label=True, mould=False)
    assert (reading.status, reading.percent) == ("unusable", None)
    assert reading.reason.startswith("retake: what is mycelium cannot be told here; light it evenly")


@pytest.mark.usefixtures("nothing_can_be_told")
def test_a_labelled_face_with_a_suspect_is_read_for_its_vessel_has_to_be_followed():
    reading = read(label=True, mould=True)
    assert reading.status == "ok"
    assert [one.colour for one in reading.suspects] == ["green"]
    assert known(reading.percent_low) <= known(reading.percent) <= known(reading.percent_high)


@pytest.mark.usefixtures("nothing_can_be_told")
def test_without_a_label_the_refusal_tells_of_a_suspect():
    clean, moulded = read(label=False, mould=False), read(label=False, mould=True)
    assert clean.reason == "retake: what is mycelium cannot be told without a label; lay one beside the vessel"
    assert (moulded.status, moulded.percent) == ("unusable", None)
    assert moulded.reason.endswith("may be mould (green): look at it and keep the vessel closed")
    assert [one.colour for one in moulded.suspects] == ["green"]
