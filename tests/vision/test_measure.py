"""One photo end to end, on drawn vessels of known cover, and photos that are refused."""

import io
import json
import zipfile
from dataclasses import replace

import cv2
import numpy as np
import pytest
import simplejpeg

from tests.values import known
from tests.vision.drawn import bag_photo, dish_photo, shelf, with_colony, with_patch
from vision.days import SeriesFace, continue_series, read_series
from vision.face import decode_face, encode_face
from vision.face.face_file import pixels_in_photo
from vision.photo import draw_overlay, measure_photo, paint_classes
from vision.records import LABEL, MYCELIUM, SUSPECT, PhotoContext, Reading, VesselSpec
from vision.surface.read_face import segment_within

BAG = VesselSpec("BAG-1", "bag", species="oyster", substrate="sawdust")
DISH = VesselSpec("P-1", "plate")
CONTEXT = PhotoContext({"BAG-1": BAG, "P-1": DISH})


def figures(reading: Reading) -> tuple[float, float, float]:
    """Low bound, percent and high bound."""
    return known(reading.percent_low), known(reading.percent), known(reading.percent_high)


def test_a_labelled_bag_is_read_with_scale_face_and_cover():
    (measured,) = measure_photo(bag_photo("BAG-1", 0.5), CONTEXT)
    reading = measured.reading
    assert (reading.vessel, reading.kind, reading.status) == ("BAG-1", "bag", "ok")
    assert reading.mm_per_px == pytest.approx(1 / 3.0, rel=0.02)
    left, top, width, height = known(reading.face_box)
    assert (left / 3, top / 3) == pytest.approx((77, 70), abs=6)
    assert (width / 3, height / 3) == pytest.approx((176, 226), abs=8)
    # The label covers 24 cm2 of the upper half (about 113 cm2), so the white half is more than half of the rest.
    face_mm2 = 176 * 226 - (4 - np.pi) * 16**2
    assert reading.percent == pytest.approx(100 * (176 * 113) / (face_mm2 - 60 * 40), abs=6)
    low, percent, high = figures(reading)
    assert low <= percent <= high


@pytest.mark.parametrize("px_per_mm", [2.4, 4.0])
def test_the_scale_is_that_of_the_photo(px_per_mm):
    (measured,) = measure_photo(bag_photo("BAG-1", 0.5, px_per_mm), CONTEXT)
    assert measured.reading.mm_per_px == pytest.approx(1 / px_per_mm, rel=0.02)


def test_a_colony_of_known_radius_covers_its_share_of_the_dish():
    """Share of a dish: (r / R) squared."""
    (measured,) = measure_photo(dish_photo("P-1", 25.0), CONTEXT)
    assert measured.reading.percent == pytest.approx(100 * (25.0 / 43.0) ** 2, abs=4)


def test_a_sliver_of_an_outline_without_a_label_is_no_vessel(monkeypatch):
    def sliver(spec, scene, seen, *more):
        outline = np.zeros_like(seen)
        outline[100:300, 100:106] = True
        return outline

    photo = bag_photo("BAG-1", 0.5)
    photo[290:430, 400:600] = photo[500:640, 400:600]
    monkeypatch.setattr("vision.photo.measure.refine_unlabelled", sliver)
    (measured,) = measure_photo(photo, replace(CONTEXT, owner="BAG-1"))
    assert (measured.reading.status, measured.reading.percent) == ("unusable", None)
    assert measured.reading.reason.startswith("retake: no vessel found in the picture")


def test_what_goes_on_beyond_the_outline_is_left_out_of_the_reading(monkeypatch):
    """With limits so wide that any patch counts as such a thing; ``test_beyond_outline.py`` has what they are for."""
    photo = with_patch(bag_photo("BAG-1", 0.5), 205, 130, 22)
    (flagged,) = measure_photo(photo, CONTEXT)
    for limit, value in (("_ALONG", -1.0), ("_SAME_COLOUR", 1000.0), ("_TO_MM", 100.0)):
        monkeypatch.setattr(f"vision.photo.beyond_outline.{limit}", value)
    (left_out,) = measure_photo(photo, CONTEXT)
    assert len(flagged.reading.suspects) == 1
    assert left_out.reading.suspects == ()
    patch = known(flagged.face).classes == SUSPECT
    assert patch.any()
    assert not known(left_out.face).classes[patch].any()
    assert known(left_out.reading.percent) > known(flagged.reading.percent)


def test_an_unlabelled_photo_is_read_for_the_vessel_it_is_assigned_to_and_flagged():
    photo = bag_photo("BAG-1", 0.5)
    photo[290:430, 400:600] = photo[500:640, 400:600]  # the label painted over with substrate
    (measured,) = measure_photo(photo, replace(CONTEXT, owner="BAG-1"))
    assert measured.reading.status == "ok"
    assert "no_label" in measured.reading.flags


def test_the_same_photo_gives_the_same_reading():
    photo = bag_photo("BAG-1", 0.3)
    assert measure_photo(photo, CONTEXT)[0].reading == measure_photo(photo, CONTEXT)[0].reading


def test_a_label_that_is_not_in_the_list_is_unidentified():
    (measured,) = measure_photo(bag_photo("X-9", 0.5), CONTEXT)
    assert (measured.reading.status, measured.reading.percent) == ("unidentified", None)
    assert "X-9" in measured.reading.reason


@pytest.mark.parametrize(
    "photo",
    [
        shelf(600, 800),
        np.zeros((600, 800, 3), np.uint8),
        np.full((600, 800, 3), 255, np.uint8),
        np.random.default_rng(0).integers(0, 255, (600, 800, 3), dtype=np.uint8),
        np.full((1, 1, 3), 128, np.uint8),
    ],
    ids=["wall", "black", "white", "noise", "one pixel"],
)
def test_a_picture_without_a_vessel_gets_no_number(photo):
    for context in (CONTEXT, replace(CONTEXT, owner="BAG-1"), PhotoContext(kind="bag")):
        for measured in measure_photo(photo, context):
            assert measured.reading.percent is None
            assert measured.reading.reason


@pytest.mark.parametrize("sigma_mm", [2.5, 5.0])
def test_a_blurred_picture_gets_no_number(sigma_mm):
    photo = np.asarray(cv2.GaussianBlur(bag_photo("BAG-1", 0.5), (0, 0), 3.0 * sigma_mm), np.uint8)
    for context in (CONTEXT, replace(CONTEXT, owner="BAG-1")):
        for measured in measure_photo(photo, context):
            assert measured.reading.percent is None


def test_a_far_too_dark_picture_gets_no_number():
    dark = (bag_photo("BAG-1", 0.5) * 0.09).astype(np.uint8)
    for measured in measure_photo(dark, replace(CONTEXT, owner="BAG-1")):
        assert measured.reading.percent is None


def test_a_bag_mostly_outside_the_frame_gets_no_number():
    photo = bag_photo("BAG-1", 0.5)[: (3 * 155)]
    for measured in measure_photo(photo, CONTEXT):
        assert measured.reading.percent is None
        assert measured.reading.reason


def test_the_class_map_covers_the_vessel():
    photo = bag_photo("BAG-1", 0.5)
    measured = measure_photo(photo, CONTEXT)
    classes = paint_classes(photo.shape[:2], measured)
    assert classes.shape == photo.shape[:2]
    assert classes[3 * 250, 3 * 165] == MYCELIUM
    assert classes[3 * 118, 3 * 160] == LABEL
    assert classes[10, 10] == 0
    assert draw_overlay(photo, measured).shape == photo.shape


def test_a_face_is_stored_and_loaded():
    (measured,) = measure_photo(bag_photo("BAG-1", 0.5), CONTEXT)
    again = decode_face(encode_face(known(measured.face)))
    assert (again.classes == known(measured.face).classes).all()
    assert np.abs(again.rgb.astype(int) - known(measured.face).rgb).mean() < 4
    assert again.to_photo == pytest.approx(known(measured.face).to_photo)
    with pytest.raises(ValueError, match="not a saved face"):
        decode_face(b"something else")


def test_both_class_maps_are_stored_and_those_of_the_first_version_are_read():
    (measured,) = measure_photo(bag_photo("BAG-1", 0.5), CONTEXT)
    alone = known(measured.face).classes
    series = np.where(alone == MYCELIUM, 1, alone).astype(np.uint8)
    content = encode_face(replace(known(measured.face), classes=series))
    again = decode_face(content)
    assert (again.classes == series).all()
    assert (again.classes_alone == alone).all()
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as new, zipfile.ZipFile(buffer, "w") as first:
        parts = {name: new.read(name) for name in new.namelist()}
        parts["alone.png"] = cv2.imencode(".png", alone)[1].tobytes()
        parts["face.json"] = json.dumps(json.loads(parts["face.json"]) | {"version": 1}).encode()
        for name, part in parts.items():
            first.writestr(name, part)
    before = decode_face(buffer.getvalue())
    assert (before.classes == series).all()
    assert (before.classes_alone == alone).all()


def test_what_stands_around_a_vessel_is_stored_coarse_and_the_vessel_is_not():
    (measured,) = measure_photo(bag_photo("BAG-1", 0.5), CONTEXT)
    noise = np.random.default_rng(2).integers(40, 216, known(measured.face).rgb.shape).astype(np.uint8)
    noise[:, :9] = 0
    face = replace(known(measured.face), rgb=noise)
    content = encode_face(face)
    again = decode_face(content)
    vessel = face.classes > 0
    away = cv2.distanceTransform(1 - vessel.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / face.px_per_mm
    assert again.rgb[vessel].std() > 0.7 * noise[vessel].std()
    assert again.rgb[(away > 16) & (np.arange(noise.shape[1]) > 16)].std() < 0.2 * noise[vessel].std()
    assert (pixels_in_photo(again)[:, :6] == 0).all()
    assert pixels_in_photo(again)[:, 16:].all()
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        *_, sampling = simplejpeg.decode_jpeg_header(archive.read("picture.jpg"))
    assert sampling == "444", "colours at full size"


def test_a_face_stored_again_keeps_its_picture():
    (measured,) = measure_photo(bag_photo("BAG-1", 0.5), CONTEXT)
    first = encode_face(known(measured.face))
    face = decode_face(first)
    again = encode_face(replace(face, classes=np.zeros_like(face.classes)), first)
    assert not decode_face(again).classes.any()
    assert (decode_face(again).rgb == face.rgb).all()
    assert (decode_face(encode_face(face)).rgb != face.rgb).any()  # as it would be if it were encoded again


def test_the_part_of_a_face_outside_the_photo_is_black():
    (measured,) = measure_photo(bag_photo("BAG-1", 0.5), CONTEXT)
    levels = np.random.default_rng(1).integers(0, 6, known(measured.face).rgb.shape, np.uint8)
    face = replace(known(measured.face), rgb=levels)
    assert (pixels_in_photo(face) == (levels.max(axis=2) > 2)).all()


def test_a_series_reads_every_face_and_keeps_the_single_readings():
    faces = []
    for day, covered in enumerate((0.0, 0.3, 0.8)):
        (measured,) = measure_photo(bag_photo("BAG-1", covered), CONTEXT)
        faces.append(SeriesFace(float(day), known(measured.face), measured.reading, 0))
    together = read_series(faces, BAG)
    percents = [known(one.reading.percent) for one in together]
    assert percents == sorted(percents)
    assert percents[0] < 5
    for one, before in zip(together, faces, strict=True):
        assert (known(one.face).classes_alone == before.face.classes_alone).all()


def test_reading_a_series_again_changes_nothing():
    faces = []
    for day, covered in enumerate((0.0, 0.4)):
        (measured,) = measure_photo(bag_photo("BAG-1", covered), CONTEXT)
        faces.append(SeriesFace(float(day), known(measured.face), measured.reading, 0))
    once = read_series(faces, BAG)
    again = read_series([replace(one, face=known(two.face)) for one, two in zip(faces, once, strict=True)], BAG)
    assert [one.reading for one in once] == [two.reading for two in again]


def test_photos_read_one_by_one_and_at_once_give_the_same():
    """What is kept between photos is all that the next one needs; it does not grow with their number."""
    faces, sizes = [], []
    for day, covered in enumerate((0.0, 0.2, 0.3, 0.5, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.97)):
        photo = with_patch(bag_photo("BAG-1", covered), 205, 130, 22) if day > 5 else bag_photo("BAG-1", covered)
        (measured,) = measure_photo(photo, CONTEXT)
        faces.append(SeriesFace(1.0 + day, known(measured.face), measured.reading, int(day > 3)))
    at_once, kept_at_once = continue_series(None, faces, BAG)
    kept, one_by_one = None, []
    for face in faces:
        (read,), kept = continue_series(kept, [face], BAG)
        one_by_one.append(read)
        sizes.append(len(kept))
    assert kept == kept_at_once
    for one, other in zip(one_by_one, at_once, strict=True):
        assert one.reading == other.reading
        assert (known(one.face).classes == known(other.face).classes).all()
    assert any(one.reading.suspects for one in at_once)
    assert sizes[-1] < 1.5 * sizes[8]


def test_a_damaged_state_of_earlier_photos_is_refused():
    (measured,) = measure_photo(bag_photo("BAG-1", 0.3), CONTEXT)
    face = SeriesFace(5.0, known(measured.face), measured.reading, 0)
    _, kept = continue_series(None, [face], BAG)
    for damaged in (b"", kept[:200], b"PK" + kept[2:-30]):
        with pytest.raises(ValueError, match="kept of the earlier photos is damaged"):
            continue_series(damaged, [face], BAG)


@pytest.mark.parametrize(
    ("day", "photo", "least", "most"),
    [
        (0.5, with_colony(bag_photo("BAG-1", 0.0), 207, 160, 20), 0, 0),
        (4.0, with_colony(bag_photo("BAG-1", 0.0), 207, 160, 20), 0.5, 3),
        (0.5, bag_photo("BAG-1", 0.6), 54, 66),
    ],
)
def test_a_little_white_before_growth_is_ignored_but_much_means_that_the_record_is_wrong(day, photo, least, most):
    (measured,) = measure_photo(photo, CONTEXT)
    (one,) = read_series([SeriesFace(day, known(measured.face), measured.reading, 0)], BAG)
    assert least <= one.reading.percent <= most
    low, percent, high = figures(one.reading)
    assert low <= percent <= high


def test_an_outline_far_from_those_of_earlier_days_is_replaced():
    faces = []
    for day, covered in enumerate((0.0, 0.3, 0.4)):
        (measured,) = measure_photo(bag_photo("BAG-1", covered), CONTEXT)
        faces.append(SeriesFace(2.0 + day, known(measured.face), measured.reading, 0))
    astray = faces[2].face.classes_alone.copy()
    upper = astray[: astray.shape[0] * 2 // 3]
    upper[upper != LABEL] = 0  # the place of the label is known
    strayed = [*faces[:2], replace(faces[2], face=replace(faces[2].face, classes_alone=astray))]
    right, mended = read_series(faces, BAG), read_series(strayed, BAG)
    assert mended[2].reading.percent == pytest.approx(right[2].reading.percent, abs=2)


def test_a_late_series_is_read_with_bare_faces_of_its_batch():
    (bare,) = measure_photo(bag_photo("BAG-1", 0.0), CONTEXT)
    (late,) = measure_photo(bag_photo("BAG-1", 0.6), CONTEXT)
    faces = [SeriesFace(6.0, known(late.face), late.reading, 0)]
    (alone,), (beside,) = read_series(faces, BAG), read_series(faces, BAG, [known(bare.face)])
    assert alone.reading.percent == late.reading.percent
    assert beside.reading.percent == pytest.approx(60, abs=6)
    low, percent, high = figures(beside.reading)
    assert low <= percent <= high


def _series(photos, days, *, alone=True):
    """Colours of the suspects in each photo, read in series; optionally without those of the single photos."""
    faces = []
    for day, photo in zip(days, photos, strict=True):
        (measured,) = measure_photo(photo, CONTEXT)
        reading = measured.reading if alone else replace(measured.reading, suspects=())
        faces.append(SeriesFace(day, known(measured.face), reading, 0))
    return [[suspect.colour for suspect in one.reading.suspects] for one in read_series(faces, BAG)]


def test_a_colour_that_is_unchanged_since_the_first_day_is_not_a_suspect():
    taped = [with_patch(bag_photo("BAG-1", covered), 200, 120, 26, opacity=1.0) for covered in (0.0, 0.5, 0.6)]
    assert _series(taped, (0.5, 6.0, 7.0)) == [[], [], []]
    late_start = _series(taped, (5.0, 11.0, 12.0))
    assert all(late_start[1:]), "photographed from the fifth day on, it may be mould"


def test_a_colour_that_was_not_flagged_in_the_first_photo_is_not_a_suspect_later(monkeypatch):
    segmented = []

    def first_sees_nothing(*arguments, **more):
        seen = segment_within(*arguments, **more)
        segmented.append(seen)
        return replace(seen, suspects=()) if len(segmented) == 1 else seen

    taped = [with_patch(bag_photo("BAG-1", covered), 215, 120, 30, (214, 96, 40), 1.0) for covered in (0.0, 0.5, 0.6)]
    spotted = [bag_photo("BAG-1", 0.0), *taped[1:]]
    monkeypatch.setattr("vision.days.series.segment_within", first_sees_nothing)
    assert _series(taped, (0.5, 6.0, 7.0), alone=False) == [[], [], []]
    segmented.clear()
    assert all(_series(spotted, (0.5, 6.0, 7.0), alone=False)[1:])


def test_a_suspect_of_the_single_photo_stays_if_the_series_finds_none(monkeypatch):
    def blind(*arguments, **more):
        return replace(segment_within(*arguments, **more), suspects=())

    days, clean = (0.5, 6.0, 7.0), bag_photo("BAG-1", 0.5)
    spotted = [bag_photo("BAG-1", 0.0), clean, with_patch(clean, 230, 120, 22)]
    seen = _series(spotted, days)
    monkeypatch.setattr("vision.days.series.segment_within", blind)
    assert _series(spotted, days) == seen == [[], [], ["green"]]
    assert _series(spotted, days, alone=False) == [[], [], []]


def test_a_colour_that_appears_or_grows_is_a_suspect():
    clean, spotted = bag_photo("BAG-1", 0.5), with_patch(bag_photo("BAG-1", 0.5), 230, 120, 22)
    assert _series([bag_photo("BAG-1", 0.0), clean, spotted], (0.5, 6.0, 7.0))[1:] == [[], ["green"]]
    larger = with_patch(bag_photo("BAG-1", 0.5), 195, 115, 40)
    small = with_patch(bag_photo("BAG-1", 0.0), 205, 125, 16)
    assert _series([small, larger], (0.5, 7.0))[1] == ["green"]
