"""Where codes are looked for at twice the size: less than the photo, and the same is found as in all of it."""

import cv2
import numpy as np
import pytest

from calibration import LABELS
from tests.vision.drawn import label_picture, mycelium, paste, shelf, substrate
from vision.label import find_labels, labels
from vision.label.code_places import parts_with_codes

#: Width of a module of a drawn code, px: from the least that is read at all to what is not looked for enlarged.
_MODULE_PX = (1.4, 4.4)
_CELL_PX, _FINE_PX_PER_MM = 280, 8.0


def _random_photo(seed):
    """A grey photo of six labels of random size, turn, light and blur on a wall, grain and growth, with noise."""
    draw = np.random.default_rng(seed)
    rows, columns = 2 * _CELL_PX, 3 * _CELL_PX
    photo = shelf(rows, columns, int(draw.integers(90, 140))).astype(np.float32)
    photo[:_CELL_PX, : _CELL_PX // 2] = substrate(_CELL_PX, _CELL_PX // 2) * draw.uniform(0.6, 1.6)
    photo[_CELL_PX:, _CELL_PX // 2 : _CELL_PX] = mycelium(_CELL_PX, _CELL_PX // 2)
    for place in range(6):
        scale = draw.uniform(*_MODULE_PX) / LABELS["normal"].module_mm / _FINE_PX_PER_MM
        sticker = label_picture(f"R{seed}-{place}", _FINE_PX_PER_MM).astype(np.float32)
        sticker = sticker * draw.uniform(0.4, 1.0) + draw.uniform(0, 30)
        soft = cv2.GaussianBlur(sticker, (0, 0), draw.uniform(0.3, 0.8) / scale)
        middle = np.array(sticker.shape[1::-1]) / 2
        turn = np.asarray(cv2.getRotationMatrix2D(middle.tolist(), draw.uniform(-20, 20), scale), np.float64)
        turn[:, 2] += (np.array([place % 3, place // 3]) + 0.5) * _CELL_PX - middle
        there = cv2.warpAffine(np.ones_like(sticker), turn, (columns, rows))
        photo += np.asarray((cv2.warpAffine(soft, turn, (columns, rows)) - photo) * there, np.float32)
    noisy = photo + draw.normal(0, draw.uniform(0, 4), photo.shape)
    return cv2.cvtColor(np.clip(noisy, 0, 255).astype(np.uint8), cv2.COLOR_RGB2GRAY)


def _found(grey):
    return sorted((str(one.text), one.code.ravel().tolist()) for one in find_labels(grey))


@pytest.mark.parametrize("seed", range(12))
def test_the_same_labels_with_the_same_corners_are_found_as_in_the_whole_photo(seed, monkeypatch):
    grey = _random_photo(seed)
    found = _found(grey)
    parts = parts_with_codes(grey, [np.reshape(code, (4, 2)) for text, code in found if text != "None"])
    assert parts is not None
    assert sum(grey[part].size for part in parts) < 0.7 * grey.size
    monkeypatch.setattr(labels, "parts_with_codes", lambda grey, read: None)
    assert found == _found(grey)
    assert sum(text != "None" for text, _ in found) >= 3


def test_all_of_a_photo_is_searched_where_nothing_was_read():
    assert parts_with_codes(_random_photo(1), []) is None


def test_a_label_that_was_read_lies_in_a_part_with_its_quiet_zone():
    photo = shelf(600, 900).astype(np.uint8)
    paste(photo, label_picture("A1", 3.0), 200, 400)
    paste(photo, label_picture("A2", 2.2), 420, 60)
    grey = np.asarray(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY), np.uint8)
    codes = [label.code for label in find_labels(grey)]
    parts = parts_with_codes(grey, codes[:1])
    assert parts is not None
    assert len(codes) == len(parts) == 2
    for code in codes:
        quiet = 4 * np.ptp(code[:, 0]) / 21  # four modules on each side: ISO/IEC 18004
        low, high = code.min(axis=0) - quiet, code.max(axis=0) + quiet
        assert any(
            columns.start <= low[0] and high[0] <= columns.stop and rows.start <= low[1] and high[1] <= rows.stop
            for rows, columns in parts
        )


def test_parts_begin_where_the_decoder_sees_what_it_sees_of_the_whole():
    """It judges blocks of 8 px and every third row of the picture, which is looked at at twice the size."""
    grey = _random_photo(3)
    code = next(label.code for label in find_labels(grey) if label.text)
    parts = parts_with_codes(grey, [code])
    assert parts
    assert all(side.start * 2 % 24 == 0 for part in parts for side in part)


@pytest.mark.parametrize("shape", [(22, 30), (37, 400), (401, 23)])
def test_parts_of_small_pictures_lie_in_them(shape):
    grey = np.full(shape, 200, np.uint8)
    code = np.array([[1.0, 1.0], [20.0, 1.0], [20.0, 20.0], [1.0, 20.0]])
    for rows, columns in parts_with_codes(grey, [code]) or ():
        assert 0 <= rows.start < rows.stop <= shape[0]
        assert 0 <= columns.start < columns.stop <= shape[1]


def test_all_is_searched_where_a_symbol_cannot_be_read(monkeypatch):
    photo = shelf(600, 900).astype(np.uint8)
    paste(photo, label_picture("A1", 2.6), 200, 400)
    spoilt = label_picture("A2", 2.6)
    spoilt[50:78, 50:78] = 250  # the finders stay
    paste(photo, spoilt, 420, 60)
    grey = np.asarray(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY), np.uint8)
    searched, decode = [], labels._decode_part

    def decode_part(grey, part):
        searched.append(grey[part].size)
        return decode(grey, part)

    monkeypatch.setattr(labels, "_decode_part", decode_part)
    assert {label.text for label in find_labels(grey)} == {"A1", None}
    assert searched[-1] == grey.size > max(searched[:-1])
