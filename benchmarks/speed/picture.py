"""A picture of eight labelled vessels, like a phone photo, composed of smaller photos of labelled bags.

Each bag is cut out of its photo with its surroundings and enlarged into a cell. Since a bag may be used twice (from two
days), a new label is drawn over each one.
"""

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import LABELS
from vision.label.labels import Label, find_labels, ideal_modules
from vision.label.pose import settle_label
from vision.pixels import load_picture
from vision.pixels.colour import grey_of
from vision.records import PhotoContext, VesselSpec

COLUMNS, ROWS = 4, 2
#: A bag's share of its cell: at 4000 x 3000 px and eight bags about 3.7 px per mm, 1.1 m of shelf.
_PX_PER_MM_OF_CELL = 0.0037
_JPEG_QUALITY = 90
_LABEL_PX_PER_MM = 20


def compose(photos: Path, width: int = 4000, height: int = 3000) -> tuple[bytes, PhotoContext]:
    """A JPEG of eight bags with labels from the photos in a folder, and the specs of its vessels.

    Raises SystemExit where the folder's photos have fewer than eight labelled bags, counted over all of them.
    """
    cell = (width // COLUMNS, height // ROWS)
    canvas = np.zeros((height, width, 3), np.uint8)
    names = [f"S{number:03}" for number in range(1, COLUMNS * ROWS + 1)]
    bags = _bags(photos, len(names))
    for number, (name, (rgb, label)) in enumerate(zip(names, bags, strict=True)):
        left, top = number % COLUMNS * cell[0], number // COLUMNS * cell[1]
        canvas[top : top + cell[1], left : left + cell[0]] = _cell(rgb, label, name, cell)
    done, content = cv2.imencode(".jpg", canvas[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    assert done
    return content.tobytes(), PhotoContext({name: VesselSpec(name, "bag") for name in names})


def _bags(photos: Path, wanted: int) -> list[tuple[NDArray[np.uint8], Label]]:
    """Each label that was read, with its photo."""
    found: list[tuple[NDArray[np.uint8], Label]] = []
    for photo in sorted(photos.glob("*.jpg"), reverse=True):
        rgb = load_picture(photo).rgb
        grey = grey_of(rgb)
        for label in find_labels(grey):
            if label.text and len(found) < wanted:
                found.append((rgb, settle_label(grey, label, LABELS["normal"])))
    if len(found) < wanted:
        raise SystemExit(f"{photos}: {len(found)} labels read in its .jpg files, {wanted} are needed")
    return found


def _cell(rgb: NDArray[np.uint8], label: Label, name: str, size: tuple[int, int]) -> NDArray[np.uint8]:
    """The bag around a label, enlarged, with another name on its label."""
    width, height = size
    geometry = LABELS["normal"]
    scale = _PX_PER_MM_OF_CELL * width / label.px_per_mm(geometry)
    middle = label.to_photo(geometry) @ [geometry.width_mm / 2, geometry.height_mm / 2, 1.0]
    at = middle[:2] / middle[2]
    to_cell = np.array([[scale, 0, width / 2 - scale * at[0]], [0, scale, 0.26 * height - scale * at[1]], [0, 0, 1]])
    cell = cv2.warpAffine(rgb, to_cell[:2], size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    to_label = np.array([[_LABEL_PX_PER_MM, 0, -0.5], [0, _LABEL_PX_PER_MM, -0.5], [0, 0, 1]])
    lay = to_cell @ label.to_photo(geometry) @ np.linalg.inv(to_label)
    # Twice the size and averaged down, so that the drawn label does not alias.
    lay = np.diag([2.0, 2.0, 1.0]) @ lay
    twice = (2 * width, 2 * height)
    code, cover = _drawn_code(name)
    drawn = cv2.resize(cv2.warpPerspective(code, lay, twice), size, interpolation=cv2.INTER_AREA)
    there = cv2.resize(cv2.warpPerspective(cover, lay, twice), size, interpolation=cv2.INTER_AREA)
    share = there.astype(np.float32)[..., None] / 255
    # White of the code as of the sticker around it, black as of print.
    white = np.median(cell[there > 250].max(axis=1))
    new = 20 + drawn.astype(np.float32)[..., None] / 255 * (white - 20)
    return np.asarray(np.round(cell * (1 - share) + new * share), np.uint8)


def _drawn_code(name: str) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """The code of a name on a sticker's picture, and a mask (255) of the code with its quiet zone."""
    geometry = LABELS["normal"]
    shape = (round(geometry.height_mm * _LABEL_PX_PER_MM), round(geometry.width_mm * _LABEL_PX_PER_MM))
    drawn, cover = np.full(shape, 255, np.uint8), np.zeros(shape, np.uint8)
    left, top, side = (
        round(length * _LABEL_PX_PER_MM)
        for length in (geometry.code_left_mm, geometry.code_top_mm, geometry.code_side_mm)
    )
    code = cv2.resize(255 * ideal_modules(name)[0], (side, side), interpolation=cv2.INTER_NEAREST)
    drawn[top : top + side, left : left + side] = code
    rim = round(geometry.module_mm * _LABEL_PX_PER_MM)
    cover[top - rim : top + side + rim, left - rim : left + side + rim] = 255
    return drawn, cover
