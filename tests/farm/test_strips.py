"""Faces and strips from the farm's stored faces."""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from farm.measure import measure_paths
from farm.pictures import PictureSizes, vessel_pictures
from farm.records import import_vessels, list_readings
from farm.records.readings import face_file
from farm.store import Farm
from tests.farm.painted import paint
from vision.face import decode_face, decode_face_picture, encode_face
from vision.records import Face

SIZES = PictureSizes(face_px=64, frame_px=32, frames=3)


def test_a_strip_has_the_first_and_the_newest_day_and_a_limited_length(
    farm: Farm, vessels_csv: Path, tmp_path: Path, vision
) -> None:
    import_vessels(farm, vessels_csv)
    for day in range(3, 11):
        paint(tmp_path / "photos" / f"202603{day:02}_1000.png", ("B001", 10 * (day - 2)))
    measure_paths(farm, [tmp_path / "photos"], vision=vision)
    readings = list_readings(farm, vessel="B001")
    found = vessel_pictures(farm, {"B001": readings, "J001": ()}, SIZES)
    strip = found["B001"].strip
    assert [frame.reading.percent for frame in strip] == [10, 50, 80]
    # The grey level of a painted face is its percent, so equal frames show the same face.
    greys = [np.asarray(Image.open(io.BytesIO(frame.jpeg))).mean() for frame in strip]
    assert np.allclose(greys, [10, 50, 80], atol=3)
    assert max(Image.open(io.BytesIO(strip[0].jpeg)).size) <= 32
    assert found["B001"].newest is not None
    assert (found["J001"].newest, found["J001"].strip) == (None, ())
    face_file(farm, readings[0].photo_hash, readings[0].slot).unlink()
    face_file(farm, readings[-1].photo_hash, readings[-1].slot).write_bytes(b"damaged")
    without = vessel_pictures(farm, {"B001": readings}, SIZES)["B001"]
    assert without.newest is None  # no older one in its place
    assert len(without.strip) == 2


def test_a_face_with_any_byte_changed_is_read_or_refused_as_damaged() -> None:
    """Its archive has a checksum of each part, but not of its own headers, where a reader may stumble in any way."""
    plain = np.full((40, 30), 2, np.uint8)
    content = encode_face(Face(np.full((40, 30, 3), 90, np.uint8), plain, plain, 3.0, np.eye(3), True))
    n_refused = 0
    for at in range(len(content)):
        changed = bytearray(content)
        changed[at] ^= 0xFF
        for decode in (decode_face, lambda some: decode_face_picture(some, 20)):
            try:
                decode(bytes(changed))
            except ValueError as error:
                assert "saved face" in str(error)  # noqa: PT017
                n_refused += 1
    assert n_refused > len(content)


def test_the_small_picture_shows_the_whole_face(farm: Farm, vessels_csv: Path, tmp_path: Path, vision) -> None:
    import_vessels(farm, vessels_csv)
    paint(tmp_path / "photos" / "20260303_1000.png", ("B001", 60))
    measure_paths(farm, [tmp_path / "photos"], vision=vision)
    (reading,) = list_readings(farm, vessel="B001")
    face = decode_face(face_file(farm, reading.photo_hash, reading.slot).read_bytes())
    ramp = np.repeat(np.linspace(0, 255, 640, dtype=np.uint8)[None, :, None], 480, axis=0).repeat(3, axis=2)
    classes = np.ones((480, 640), np.uint8)
    content = encode_face(replace(face, rgb=ramp, classes=classes, classes_alone=classes))
    small = decode_face_picture(content, 150)
    assert small.shape == (120, 160, 3)
    assert np.abs(small[60, :, 0].astype(int) - ramp[0, 2::4, 0]).max() <= 4
    assert decode_face_picture(content, 10_000).shape == ramp.shape


def test_a_face_decoded_small_is_the_same_face() -> None:
    chance = np.random.default_rng(3)
    classes = np.kron(chance.integers(0, 4, (30, 41)), np.ones((16, 16))).astype(np.uint8)
    rgb = np.repeat(classes[..., None] * 60, 3, axis=2).astype(np.uint8)
    face = Face(rgb, classes, classes, 4.0, np.array([[2.0, 0, 7], [0, 2.0, 9], [0, 0, 1]]), True)
    content = encode_face(face)
    half = decode_face(content, at_least_px=300)
    assert half.classes.shape == (240, 328)
    assert np.array_equal(half.classes, classes[::2, ::2])
    assert np.abs(half.rgb.astype(int) - rgb[::2, ::2]).mean() < 3
    assert half.px_per_mm == 2.0
    # A place on the face corresponds to the same place in the photo.
    assert np.allclose(half.to_photo @ (10, 20, 1), face.to_photo @ (20, 40, 1))
    assert decode_face(content, at_least_px=400).classes.shape == classes.shape
