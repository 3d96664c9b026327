"""Loading picture files: formats, orientation, time, and errors with their reasons."""

import io
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from PIL import Image, ImageOps

from tests.values import known
from vision.pixels import PictureError, load_picture
from vision.pixels.jpeg import _header


def _picture(mode="RGB"):
    pixels = np.zeros((24, 36, 3), np.uint8)
    pixels[:, :12, 0] = 230
    pixels[:, 24:, 2] = 230
    return Image.fromarray(pixels).convert(mode)


@pytest.mark.parametrize("ending", ["jpg", "png", "webp", "tiff", "heic"])
def test_every_format_is_read_upright(tmp_path, ending):
    if ending == "heic":
        pillow_heif = pytest.importorskip("pillow_heif", reason="only the full build writes HEIC")
        pillow_heif.register_heif_opener()
    path = tmp_path / f"a.{ending}"
    _picture().save(path, **({"format": "HEIF"} if ending == "heic" else {}))
    rgb = load_picture(path).rgb
    assert rgb.shape == (24, 36, 3)
    assert rgb.dtype == np.uint8
    assert rgb[12, 4, 0] > 180 > 60 > rgb[12, 4, 2]


@pytest.mark.parametrize("mode", ["L", "LA", "RGBA", "P", "1", "CMYK", "I;16"])
def test_every_colour_mode_becomes_rgb(tmp_path, mode):
    path = tmp_path / ("a.tiff" if mode in ("CMYK", "I;16") else "a.png")
    image = Image.fromarray(np.full((9, 7), 40000, np.uint16)) if mode == "I;16" else _picture(mode)
    image.save(path)
    assert load_picture(path).rgb.shape[2] == 3


def test_orientation_from_exif_is_applied(tmp_path):
    exif = Image.Exif()
    exif[0x0112] = 6  # EXIF orientation (CIPA DC-008): rotate by 90 degrees clockwise to see it upright
    _picture().save(tmp_path / "a.jpg", exif=exif)
    assert load_picture(tmp_path / "a.jpg").rgb.shape == (36, 24, 3)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_a_jpeg_equals_pillows_decoding_pixel_for_pixel(tmp_path, orientation, mode):
    """Pillow's own decoder and its exif_transpose are the reference."""
    noise = np.random.default_rng(0).integers(0, 255, (40, 64, 3), dtype=np.uint8)
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.fromarray(noise).convert(mode).save(tmp_path / "a.jpg", exif=exif)
    with Image.open(tmp_path / "a.jpg") as image:
        expected = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
    found = load_picture(tmp_path / "a.jpg").rgb
    assert np.array_equal(found, expected)
    assert found.flags["C_CONTIGUOUS"]


def test_exif_time_with_its_offset(tmp_path):
    exif = Image.Exif()
    detail = exif.get_ifd(0x8769)
    detail[0x9003] = "2026:03:09 13:00:05"
    detail[0x9011] = "+02:00"
    _picture().save(tmp_path / "a.jpg", exif=exif)
    taken_at = load_picture(tmp_path / "a.jpg").taken_at
    assert taken_at == datetime(2026, 3, 9, 13, 0, 5, tzinfo=timezone(timedelta(hours=2)))
    assert taken_at.astimezone(UTC).hour == 11


@pytest.mark.parametrize(("offset", "hours"), [("+14:00", 14), ("-12:00", -12), ("+15:00", None)])
def test_exif_offsets_up_to_14_hours_are_read(tmp_path, offset, hours):
    """UTC+14 (Kiribati) is the largest offset in use; any larger one is a mistake, and the time then has no zone."""
    exif = Image.Exif()
    detail = exif.get_ifd(0x8769)
    detail[0x9003], detail[0x9011] = "2026:03:09 13:00:05", offset
    _picture().save(tmp_path / "a.jpg", exif=exif)
    taken_at = load_picture(tmp_path / "a.jpg").taken_at
    assert known(taken_at).utcoffset() == (None if hours is None else timedelta(hours=hours))


def test_exif_time_without_offset_is_naive_and_a_broken_one_is_none(tmp_path):
    exif = Image.Exif()
    exif[0x0132] = "2026:03:09 13:00:05"
    _picture().save(tmp_path / "a.jpg", exif=exif)
    assert load_picture(tmp_path / "a.jpg").taken_at == datetime(2026, 3, 9, 13, 0, 5)
    exif[0x0132] = "0000:99:99 13:00"
    _picture().save(tmp_path / "b.jpg", exif=exif)
    assert load_picture(tmp_path / "b.jpg").taken_at is None


def test_an_empty_file_a_folder_and_a_text_are_refused_with_their_reason(tmp_path):
    (tmp_path / "empty.jpg").write_bytes(b"")
    (tmp_path / "text.jpg").write_text("not a picture")
    (tmp_path / "folder.jpg").mkdir()
    for name, reason in (("empty", "empty"), ("text", "not a picture"), ("folder", "not a file")):
        with pytest.raises(PictureError, match=reason):
            load_picture(tmp_path / f"{name}.jpg")


@pytest.mark.parametrize("ending", ["jpg", "png", "webp", "tiff"])
@pytest.mark.parametrize("tenth", range(1, 10))
def test_a_file_cut_short_is_refused_with_a_reason(tmp_path, ending, tenth):
    noise = np.random.default_rng(0).integers(0, 255, (64, 64, 3), dtype=np.uint8)
    path = tmp_path / f"a.{ending}"
    Image.fromarray(noise).save(path)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) * tenth // 10])
    with pytest.raises(PictureError, match=r"cut short|damaged|not a picture"):
        load_picture(path)


def test_a_header_that_claims_too_many_pixels_is_refused(tmp_path):
    path = tmp_path / "bomb.png"
    Image.new("1", (30000, 30000)).save(path)
    with pytest.raises(PictureError, match="too large"):
        load_picture(path)


COLOURS = [("L", 0, 1), ("RGB", 0, 3), ("RGB", 1, 2), ("RGB", 2, 1.5)]


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize(("mode", "subsampling", "per_pixel"), COLOURS)
def test_the_memory_of_a_jpeg_follows_from_its_header(mode, subsampling, per_pixel, progressive):
    """Samples of all components: colours at full, half or a quarter of the size (ITU-T T.81, A.1.1); by Pillow."""
    file = io.BytesIO()
    picture = Image.new(mode, (64, 48))
    picture.save(file, "JPEG", progressive=progressive, **({"subsampling": subsampling} if mode == "RGB" else {}))
    header = _header(file.getvalue())
    assert header is not None
    assert (header.samples, header.is_held) == (64 * 48 * per_pixel, progressive)
