"""Damage of a JPEG that no decoder notices is found by the step that it leaves; edges in a scene are not such steps."""

import io
import random
from pathlib import Path

import numpy as np
import pytest
import simplejpeg
from PIL import Image

from vision.pixels import PictureError, load_picture
from vision.pixels.row_steps import has_row_step

PHOTOS = sorted((Path(__file__).parents[2] / "sample_images" / "photos").glob("*/*.jpg"))
WIDTH, HEIGHT, BLOCK = 640, 480, 16
STEP_ROW, STEP_COLUMN = 12, 17


def textured() -> np.ndarray:
    """Noise of 6 levels on a slope of light."""
    light = np.add.outer(np.linspace(90, 130, HEIGHT), np.linspace(0, 30, WIDTH))
    noisy = light[..., None] + np.random.default_rng(3).normal(0, 6, (HEIGHT, WIDTH, 3))
    return np.asarray(np.clip(noisy, 0, 255), np.uint8)


def stepped(picture: np.ndarray, levels: tuple[int, int, int], column: int = STEP_COLUMN) -> np.ndarray:
    """The picture with other levels from one block on, in the order in which a JPEG holds its blocks."""
    changed = picture.astype(int)
    changed[(STEP_ROW + 1) * BLOCK :] += levels
    changed[STEP_ROW * BLOCK : (STEP_ROW + 1) * BLOCK, column * BLOCK :] += levels
    return np.asarray(np.clip(changed, 0, 255), np.uint8)


@pytest.mark.parametrize("levels", [(20, 20, 20), (-12, -12, -12), (25, 0, -20), (-250, -250, -250)])
def test_a_step_from_one_block_on_is_found(levels):
    assert not has_row_step(textured(), BLOCK, BLOCK)
    assert has_row_step(stepped(textured(), levels), BLOCK, BLOCK)


@pytest.mark.parametrize("column", [0, WIDTH // BLOCK])
def test_a_straight_edge_across_the_picture_is_no_damage(column):
    """A shelf's edge that happens to lie between two rows of blocks."""
    assert not has_row_step(stepped(textured(), (40, 40, 40), column), BLOCK, BLOCK)


def test_an_edge_that_slopes_by_one_row_of_blocks_is_no_damage():
    picture = textured().astype(int)
    for column in range(WIDTH):
        picture[round((STEP_ROW + 1 - column / WIDTH) * BLOCK) :, column] += 40
    assert not has_row_step(np.clip(picture, 0, 255).astype(np.uint8), BLOCK, BLOCK)


def test_a_step_elsewhere_than_between_blocks_is_no_damage():
    moved = np.roll(stepped(textured(), (30, 30, 30)), 5, axis=0)[8:]
    assert not has_row_step(moved, BLOCK, BLOCK)


@pytest.mark.parametrize("size", [(480, 100), (30, 640), (480, 640)])
def test_small_pictures_and_small_blocks_are_not_judged(size):
    picture = stepped(textured(), (60, 60, 60))[: size[0], : size[1]]
    assert not has_row_step(picture, 4, 4)
    assert has_row_step(picture, BLOCK, BLOCK) == (size == (480, 640))


@pytest.mark.parametrize("photo", PHOTOS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_no_photo_of_the_demo_is_refused_however_it_lies_on_the_blocks(photo):
    with Image.open(photo) as image:
        whole = image.convert("RGB")
    for down in range(0, 16, 3):
        buffer = io.BytesIO()
        whole.crop((down // 2, down, whole.width, whole.height)).save(buffer, "JPEG", quality=88)
        load_picture(buffer.getvalue())


def test_most_undetected_damage_of_a_photo_without_a_small_copy_is_refused():
    """The reference is the undamaged picture; the decoder itself has nothing to say about any of these files."""
    with Image.open(PHOTOS[2]) as image:
        buffer = io.BytesIO()
        image.convert("RGB").resize((900, 675)).save(buffer, "JPEG", quality=88)
    whole = buffer.getvalue()
    meant = simplejpeg.decode_jpeg(whole, "RGB").astype(int)
    chance, refused, far = random.Random(11), 0, 0
    for _ in range(500):
        content = bytearray(whole)
        content[chance.randrange(1000, len(whole) * 3 // 4)] ^= 1 << chance.randrange(8)
        try:
            pixels = simplejpeg.decode_jpeg(bytes(content), "RGB")
        except ValueError:
            continue
        if np.abs(pixels - meant).mean() < 8:
            continue
        far += 1
        with_reason = _reason(bytes(content))
        refused += "from one block on" in with_reason
    assert far >= 8
    assert refused >= 0.6 * far


@pytest.mark.parametrize(("place", "step"), [(0, 0), (0, 60), (1, 1), (9, 255), (30, 0), (63, 255)])
def test_a_changed_step_of_quantisation_is_refused(place, step):
    """Those of a table lie in the order of ITU-T T.81, figure A.6; the first is that of the mean level (B.2.4.1)."""
    with Image.open(PHOTOS[2]) as image:
        buffer = io.BytesIO()
        image.convert("RGB").resize((600, 450)).save(buffer, "JPEG", quality=80)
    content = bytearray(buffer.getvalue())
    assert _reason(bytes(content)) == ""
    content[content.index(b"\xff\xdb") + 5 + place] = step
    assert "steps of quantisation" in _reason(bytes(content))


def test_no_steps_of_an_encoder_are_refused():
    """Pillow writes those of ITU-T T.81, annex K, at each quality, and those that programs for pictures have set."""
    grey = Image.new("RGB", (16, 16), (90, 120, 130))
    named = ("web_low", "web_medium", "web_high", "web_very_high", "web_maximum", "low", "medium", "high", "maximum")
    for quality in (*range(1, 101), *named):
        buffer = io.BytesIO()
        grey.save(buffer, "JPEG", quality=quality)
        assert _reason(buffer.getvalue()) == ""


def _reason(content: bytes) -> str:
    try:
        load_picture(content)
    except PictureError as error:
        return str(error)
    return ""
