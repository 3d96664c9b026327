"""Thousands of photos of drawn shelves: eight labelled bags in each, on several days, and their vessels.csv."""

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.vision.drawn import bag_photo, label_picture, paste

#: 4 x 3 cells of 990 x 1020 px make 12 megapixels; eight of them hold a bag.
PX_PER_MM, COLUMNS, ROWS, BAGS, DAYS = 3.0, 4, 3, 8, 8
#: Left and top of the label in a cell, mm, as in ``bag_photo``.
_LABEL_MM = (135.0, 98.0)

Rgb = NDArray[np.uint8]


def write_shelves(folder: Path, n_photos: int, *, times: int = 1) -> Path:
    """Path of vessels.csv, after writing photos (times x times 12 megapixels) to folder/photos."""
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    n_shelves = -(-n_photos // DAYS)
    for n in range(n_photos):
        shelf, day = n // DAYS, n % DAYS
        picture = _photo(_ids(shelf), (day + 1) / (DAYS + 1))
        if times > 1:
            picture = np.asarray(cv2.resize(picture, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC), np.uint8)
        _, content = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
        (folder / "photos" / f"{shelf:04}_202603{3 + 2 * day:02}_1000.jpg").write_bytes(content.tobytes())
    vessels = folder / "vessels.csv"
    rows = [f"{vessel},bag,2026-03-01T08:00,oyster,sawdust" for shelf in range(n_shelves) for vessel in _ids(shelf)]
    vessels.write_text("\n".join(["id,kind,inoculated,species,substrate", *rows]))
    return vessels


def write_days(folder: Path, n_photos: int) -> list[Path]:
    """Photos of one shelf of eight bags, one a day and fuller every day, after writing them and vessels.csv."""
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    photos = []
    for day in range(n_photos):
        _, content = cv2.imencode(".jpg", _photo(_ids(0), (day + 1) / (n_photos + 1))[..., ::-1])
        month, of_month = 3 + day // 28, 1 + day % 28
        photos.append(folder / "photos" / f"2026{month:02}{of_month:02}_1000.jpg")
        photos[-1].write_bytes(content.tobytes())
    rows = [f"{vessel},bag,2026-02-28T08:00,oyster,sawdust" for vessel in _ids(0)]
    (folder / "vessels.csv").write_text("\n".join(["id,kind,inoculated,species,substrate", *rows]))
    return photos


def _ids(shelf: int) -> Iterator[str]:
    return (f"S{shelf:04}-{place}" for place in range(BAGS))


def _photo(ids: Iterator[str], covered: float) -> Rgb:
    cell = _cell(round(covered, 3))
    height, width = cell.shape[:2]
    photo = np.full((height * ROWS, width * COLUMNS, 3), 96, np.uint8)
    for place, vessel in enumerate(ids):
        mine = cell.copy()
        left, top = (round(length * PX_PER_MM) for length in _LABEL_MM)
        paste(mine, np.asarray(cv2.GaussianBlur(label_picture(vessel, PX_PER_MM), (0, 0), 0.7)), top, left)
        paste(photo, mine, place // COLUMNS * height, place % COLUMNS * width)
    return photo


@cache
def _cell(covered: float) -> Any:  # noqa: ANN401 - the cache hides the array's type
    return bag_photo("B000", covered, PX_PER_MM)
