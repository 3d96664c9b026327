"""Damage of a JPEG that leaves levels outside 0 to 255, which an encoder never writes, is refused; no picture is."""

import io
import random
import struct
from pathlib import Path

import numpy as np
import pytest
import simplejpeg
from PIL import Image

from vision.pixels import PictureError, load_picture
from vision.pixels.block_levels import has_impossible_level
from vision.pixels.jpeg import block_size

PHOTOS = sorted((Path(__file__).parents[2] / "sample_images" / "photos").glob("*/*.jpg"))
JARS = [photo for photo in PHOTOS if photo.parent.name == "jars"]
WORDS = "lighter than white"


def saved(image: Image.Image, **how: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", **how)
    return buffer.getvalue()


def is_impossible(content: bytes) -> bool:
    block = block_size(content)
    assert block is not None
    with Image.open(io.BytesIO(content)) as image:
        return has_impossible_level(content, image.height, block)


def reason(content: bytes) -> str:
    try:
        load_picture(content)
    except PictureError as error:
        return str(error)
    return ""


def in_first_blocks(content: bytes, seed: int, count: int) -> list[tuple[bytes, float]]:
    """Files with a changed bit near the beginning of the blocks that decode without a warning; how far they are off."""
    meant = simplejpeg.decode_jpeg(content, "RGB").astype(int)
    begin, chance, found = content.index(b"\xff\xda") + 14, random.Random(seed), []
    for _ in range(count):
        changed = bytearray(content)
        changed[chance.randrange(begin, begin + len(content) // 50)] ^= 1 << chance.randrange(8)
        try:
            pixels = simplejpeg.decode_jpeg(bytes(changed), "RGB")
        except ValueError:
            continue
        found.append((bytes(changed), float(np.abs(pixels - meant).mean())))
    return found


@pytest.mark.parametrize("how", [{}, {"progressive": True}, {"subsampling": 0}], ids=["usual", "progressive", "full"])
def test_a_photo_that_is_far_off_from_its_first_blocks_on_is_refused(how):
    """Nothing above it shows a step. The reference is the undamaged picture."""
    with Image.open(JARS[2]) as image:
        whole = saved(image.convert("RGB").resize((600, 900)), quality=88, **how)
    assert reason(whole) == ""
    far = [content for content, levels in in_first_blocks(whole, 3, 260) if levels > 35]
    assert len(far) >= 3
    assert all(reason(content) for content in far)
    assert any(WORDS in reason(content) for content in far)


@pytest.mark.parametrize("quality", [30, 60, 75, 90, 95])
@pytest.mark.parametrize("subsampling", [0, 1, 2])
def test_no_picture_however_hard_its_contrasts_is_refused(quality, subsampling):
    """Black, white and full colours in blocks, stripes and noise: the ends of what RGB can show."""
    chance = np.random.default_rng(5)
    ends = chance.choice([0, 255], (40, 60, 3)).astype(np.uint8)
    for size in (1, 3, 8, 16):
        picture = ends.repeat(size, axis=0).repeat(size, axis=1)
        content = saved(Image.fromarray(picture), quality=quality, subsampling=subsampling)
        assert not is_impossible(content)
    noise = chance.integers(0, 256, (200, 300, 3), dtype=np.uint8)
    assert not is_impossible(saved(Image.fromarray(noise), quality=quality, subsampling=subsampling))


@pytest.mark.parametrize("photo", PHOTOS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_no_photo_of_the_demo_is_refused(photo):
    assert not is_impossible(photo.read_bytes())
    with Image.open(photo) as image:
        whole = image.convert("RGB")
    for quality, progressive in ((55, False), (80, True), (93, False)):
        content = saved(whole.crop((5, 3, whole.width, whole.height)), quality=quality, progressive=progressive)
        assert not is_impossible(content)


def with_levels(content: bytes, table: int, step: int) -> bytes:
    """The file with another step for the means: all of them lie so many times as far from the middle."""
    changed = bytearray(content)
    at = -1
    for _ in range(table + 1):
        at = changed.index(b"\xff\xdb", at + 1)
    changed[at + 5] = step
    return bytes(changed)


def test_colours_outside_what_can_be_shown_are_found_where_the_brightness_is_possible():
    """A bright red becomes redder than red: its luminance stays what it is (ITU-T T.871), so only its colour tells."""
    red = np.zeros((64, 64, 3), np.uint8)
    red[:] = (250, 10, 10)
    whole = saved(Image.fromarray(red), quality=85)
    step = whole[whole.index(b"\xff\xdb", whole.index(b"\xff\xdb") + 1) + 5]
    assert not is_impossible(whole)
    assert is_impossible(with_levels(whole, 1, round(1.5 * step)))


def test_it_is_not_judged_where_it_cannot_be_known():
    white = saved(Image.fromarray(np.full((64, 64, 3), 250, np.uint8)), quality=80)
    lighter = with_levels(white, 0, 12)
    assert is_impossible(lighter)
    anew = b"\xff\xdb" + struct.pack(">HB", 67, 0) + bytes([9] * 64)
    assert is_impossible(lighter[:-2] + anew + lighter[-2:]), "there is one scan only"
    scans = with_levels(
        saved(Image.fromarray(np.full((64, 64, 3), 250, np.uint8)), quality=80, progressive=True), 0, 12
    )
    assert is_impossible(scans)
    assert not is_impossible(scans[:-2] + anew + scans[-2:])
    finest = saved(Image.fromarray(np.full((64, 64, 3), 250, np.uint8)), quality=100)
    assert not is_impossible(finest)
    adobe = b"\xff\xee" + struct.pack(">H", 14) + b"Adobe" + bytes([0, 100, 0, 0, 0, 0, 0])
    assert not is_impossible(lighter[:2] + adobe + lighter[2:])


def test_what_follows_the_picture_in_its_file_is_not_taken_for_tables():
    """Phones append a second picture after the end of the first."""
    white = saved(Image.fromarray(np.full((64, 64, 3), 250, np.uint8)), quality=80)
    assert is_impossible(with_levels(white, 0, 12) + white)
    assert not is_impossible(white + white)
