"""Damaged, unusual and malicious pictures are read correctly or refused with a reason."""

import io
import struct

import numpy as np
import pytest
from PIL import Image

from benchmarks.fuzz.pictures import promises, whole_pictures
from vision.photo import measure_photo
from vision.pixels import PictureError, load_picture
from vision.records import PhotoContext, VesselSpec

WHOLE = whole_pictures()
CONTEXT = PhotoContext(vessels={"B9": VesselSpec("B9", "bag", "oyster", "sawdust")}, kind="bag")


def put(folder, name, content):
    path = folder / name
    path.write_bytes(content)
    return path


@pytest.mark.parametrize("kind", [kind for kind in WHOLE if kind not in ("gif", "bmp")])
def test_the_unchanged_pictures_of_the_fuzz_benchmark_are_read(tmp_path, kind):
    """Otherwise the changed ones could be refused for the wrong reason."""
    ending, content = WHOLE[kind]
    rgb = load_picture(put(tmp_path, f"a.{ending}", content)).rgb
    assert rgb.dtype == np.uint8
    assert rgb.std() > 5


@pytest.mark.parametrize("kind", ["gif", "bmp"])
def test_a_format_that_no_camera_writes_is_refused_with_any_suffix(tmp_path, kind):
    with pytest.raises(PictureError, match="not a picture that can be read"):
        load_picture(put(tmp_path, "a.jpg", WHOLE[kind][1]))


@pytest.mark.parametrize("kind", ["jpeg", "png", "webp", "tiff", "heic"])
@pytest.mark.parametrize("ending", ["jpg", "png", "heic", "tiff"])
def test_a_wrong_suffix_does_not_matter(tmp_path, kind, ending):
    if kind not in WHOLE:
        pytest.skip("only the full build writes HEIC")
    right, content = WHOLE[kind]
    meant = load_picture(put(tmp_path, f"a.{right}", content))
    named = load_picture(put(tmp_path, f"b.{ending}", content))
    assert np.array_equal(meant.rgb, named.rgb)


@pytest.mark.parametrize("kind", [kind for kind in WHOLE if kind not in ("gif", "bmp")])
@pytest.mark.parametrize("tenth", range(10))
def test_a_picture_cut_at_any_tenth_is_refused_with_a_reason(tmp_path, kind, tenth):
    """An animation or a burst cut after its first picture may still be read."""
    ending, content = WHOLE[kind]
    path = put(tmp_path, f"a.{ending}", content[: len(content) * tenth // 10])
    if ("animated" in kind or "burst" in kind) and tenth > 4:
        assert _reason(path) in ("", "the file is cut short", "damaged: OSError", "not a picture that can be read")
        return
    with pytest.raises(PictureError, match=r"cut short|damaged|not a picture|empty"):
        load_picture(path)


def _reason(path):
    try:
        load_picture(path)
    except PictureError as error:
        return str(error)
    return ""


@pytest.mark.parametrize("kind", ["jpg", "png", "tif", "webp", "bmp"])
def test_a_header_that_claims_30000_by_30000_is_refused_at_once(tmp_path, kind):
    path = put(tmp_path, f"a.{kind}", promises(kind, 30_000, 30_000))
    with pytest.raises(PictureError, match=r"too large|not a picture|cut short|damaged"):
        load_picture(path)


def test_a_heic_header_that_claims_too_much_is_refused(tmp_path):
    if "heic" not in WHOLE:
        pytest.skip("only the full build writes HEIC")
    content = bytearray(WHOLE["heic"][1])
    at = content.index(b"ispe") + 8  # ISO/IEC 23008-12: width and height of the picture
    content[at : at + 8] = struct.pack(">II", 30_000, 30_000)
    with pytest.raises(PictureError, match=r"too large|damaged|cut short|not a picture"):
        load_picture(put(tmp_path, "a.heic", content))


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "I;16", "F"])
@pytest.mark.parametrize("size", [(1, 1), (1, 3000), (3000, 1), (7, 5)])
def test_tiny_pictures_get_a_reason_instead_of_a_reading(tmp_path, mode, size):
    image = Image.new(mode if mode != "I;16" else "I;16", size, 1)
    path = tmp_path / "a.tif"
    image.save(path)
    measured = measure_photo(load_picture(path).rgb, CONTEXT)
    assert all(one.reading.status == "unusable" and one.reading.reason for one in measured)
    assert measured


def test_cmyk_and_16_bit_and_palette_have_the_colours_that_were_saved(tmp_path):
    """Pillow's own conversions, of one flat colour each."""
    flat = Image.new("RGB", (16, 16), (200, 120, 40))
    flat.convert("CMYK").save(tmp_path / "c.jpg", quality=95)
    flat.convert("P", palette=Image.Palette.ADAPTIVE).save(tmp_path / "p.png")
    for name in ("c.jpg", "p.png"):
        assert np.abs(load_picture(tmp_path / name).rgb.reshape(-1, 3).mean(0) - (200, 120, 40)).max() <= 4
    Image.fromarray(np.full((16, 16), 200 * 257, np.uint16)).save(tmp_path / "d.png")
    assert set(load_picture(tmp_path / "d.png").rgb.ravel()) == {200}


def test_the_first_picture_of_an_animation_or_burst_is_used(tmp_path):
    first, other = Image.new("RGB", (64, 64), (220, 30, 30)), Image.new("RGB", (64, 64), (30, 30, 220))
    for name in ("a.png", "a.webp", "a.tiff"):
        first.save(tmp_path / name, save_all=True, append_images=[other])
    pillow_heif = pytest.importorskip("pillow_heif", reason="only the full build writes HEIC")
    burst = pillow_heif.from_pillow(first)
    burst.add_from_pillow(other)
    burst.save(tmp_path / "a.heic")
    for name in ("a.png", "a.webp", "a.tiff", "a.heic"):
        red, _, blue = load_picture(tmp_path / name).rgb[32, 32]
        assert red > 180 > 90 > blue, name


def jpeg_with_exif(exif: bytes) -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", (36, 24), (90, 60, 40)).save(buffer, "JPEG", exif=b"Exif\x00\x00" + exif)
    return buffer.getvalue()


@pytest.mark.parametrize(
    "exif",
    [
        b"", b"II*\x00", b"II*\x00\xff\xff\xff\xff", b"garbage" * 30,
        b"MM\x00*\x00\x00\x00\x08\xff\xff" + b"\xff" * 200,
        b"II*\x00\x08\x00\x00\x00\x01\x00\x69\x87\x04\x00\x01\x00\x00\x00\x08\x00\x00\x00",  # a directory in itself
    ],
)  # fmt: skip
def test_with_broken_exif_the_picture_is_not_rotated_and_has_no_time(tmp_path, exif):
    picture = load_picture(put(tmp_path, "a.jpg", jpeg_with_exif(exif)))
    assert picture.rgb.shape == (24, 36, 3)
    assert (picture.taken_at, picture.camera, picture.focal_35mm) == (None, "", None)


@pytest.mark.parametrize("orientation", [0, 9, 255, 65535])
def test_with_an_invalid_orientation_the_picture_is_not_rotated(tmp_path, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.new("RGB", (36, 24)).save(tmp_path / "a.jpg", exif=exif)
    assert load_picture(tmp_path / "a.jpg").rgb.shape == (24, 36, 3)


@pytest.mark.parametrize(
    ("text", "year"),
    [
        ("9999:12:31 23:59:59", 9999),
        ("0001:01:01 00:00:00", 1),
        ("2026:02:30 10:00:00", None),
        ("    :  :     :  :  ", None),
    ],
)
def test_impossible_camera_times_are_read_or_none(tmp_path, text, year):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = text
    Image.new("RGB", (36, 24)).save(tmp_path / "a.jpg", exif=exif)
    taken_at = load_picture(tmp_path / "a.jpg").taken_at
    assert (None if taken_at is None else taken_at.year) == year


def test_a_strip_of_any_length_is_refused_or_measured_in_little_memory(tmp_path):
    """Enlarged to look for a vessel, a strip 20 px high and of 220 megapixels would take 40 GB."""
    Image.new("L", (60_000, 20)).save(tmp_path / "long.png")
    with pytest.raises(PictureError, match="too large: 60000 x 20 pixels"):
        load_picture(tmp_path / "long.png")
    Image.new("L", (30_000, 20)).save(tmp_path / "strip.png")
    (one,) = measure_photo(load_picture(tmp_path / "strip.png").rgb, CONTEXT)
    assert "too narrow" in one.reading.reason
