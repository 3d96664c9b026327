"""Drawn labels and vessels of known size and cover, for tests. QR codes by segno, an independent generator."""

from typing import Literal

import cv2
import numpy as np
import segno

from calibration import LABELS, LabelGeometry

RNG_SEED = 7


def label_picture(vessel: str, px_per_mm: float, geometry: LabelGeometry = LABELS["normal"]) -> np.ndarray:
    """The sticker as uint8 RGB at this scale, white stock, without the printed id."""
    fine = 4
    scale = px_per_mm * fine
    sticker = np.full((round(geometry.height_mm * scale), round(geometry.width_mm * scale)), 250, np.uint8)
    code = segno.make_qr(vessel, version=1, error="q", mode="alphanumeric", boost_error=False)
    for row, line in enumerate(code.matrix):
        for column, dark in enumerate(line):
            if dark:
                left = geometry.code_left_mm + column * geometry.module_mm
                top = geometry.code_top_mm + row * geometry.module_mm
                _fill(sticker, left, top, geometry.module_mm, geometry.module_mm, scale, 20)
    for patch in geometry.patches:
        _fill(sticker, patch.left_mm, patch.top_mm, patch.side_mm, patch.side_mm, scale, patch.srgb)
    size = (round(geometry.width_mm * px_per_mm), round(geometry.height_mm * px_per_mm))
    return cv2.cvtColor(cv2.resize(sticker, size, interpolation=cv2.INTER_AREA), cv2.COLOR_GRAY2RGB)


def _fill(canvas, left_mm, top_mm, width_mm, height_mm, scale, grey):
    rows = slice(round(top_mm * scale), round((top_mm + height_mm) * scale))
    columns = slice(round(left_mm * scale), round((left_mm + width_mm) * scale))
    canvas[rows, columns] = grey


def paste(canvas: np.ndarray, picture: np.ndarray, top: int, left: int) -> None:
    """Paste a picture into a canvas, in place."""
    canvas[top : top + picture.shape[0], left : left + picture.shape[1]] = picture


def shelf(rows: int, columns: int, level: int = 96) -> np.ndarray:
    """A plain wall with a little noise."""
    noise = np.random.default_rng(RNG_SEED).normal(0, 2, (rows, columns, 1))
    return np.clip(level + noise + np.zeros(3), 0, 255).astype(np.uint8)


def substrate(rows: int, columns: int) -> np.ndarray:
    """Brown, grainy bare substrate."""
    rng = np.random.default_rng(RNG_SEED)
    grain = cv2.GaussianBlur(rng.normal(0, 1, (rows, columns)).astype(np.float32), (0, 0), 2.0)
    grain = 1 + 0.35 * grain[..., None] / grain.std()
    return np.asarray(np.clip(np.array([96, 62, 38]) * grain, 0, 255).astype(np.uint8))


def mycelium(rows: int, columns: int) -> np.ndarray:
    """White, slightly uneven mycelium."""
    rng = np.random.default_rng(RNG_SEED + 1)
    fluff = cv2.GaussianBlur(rng.normal(0, 1, (rows, columns)).astype(np.float32), (0, 0), 3.0)
    return np.asarray(np.clip(np.array([216, 214, 206]) + 7 * fluff[..., None] / fluff.std(), 0, 255).astype(np.uint8))


def bag_photo(
    vessel: str, covered: float, px_per_mm: float = 3.0, label: Literal["normal", "small"] = "normal"
) -> np.ndarray:
    """A bag 176 mm wide and 226 mm high on a wall, its label of a size; ``covered`` of it from below is white."""
    scale = px_per_mm
    rows, columns = round(340 * scale), round(330 * scale)
    photo = shelf(rows, columns)
    height, width = round(226 * scale), round(176 * scale)
    top, left = round(70 * scale), round(77 * scale)
    face = substrate(height, width)
    white_rows = round(covered * height)
    if white_rows:
        face[height - white_rows :] = mycelium(height, width)[height - white_rows :]
    corner = np.zeros((height, width), np.uint8)
    radius = round(16 * scale)
    cv2.rectangle(corner, (radius, 0), (width - radius, height), 1, -1)
    cv2.rectangle(corner, (0, radius), (width, height - radius), 1, -1)
    for row in (radius, height - radius):
        for column in (radius, width - radius):
            cv2.circle(corner, (column, row), radius, 1, -1)
    window = photo[top : top + height, left : left + width]
    window[corner > 0] = face[corner > 0]
    sticker = label_picture(vessel, scale, LABELS[label])
    paste(photo, sticker, top + round(28 * scale), left + round(58 * scale))
    return cv2.GaussianBlur(photo, (0, 0), 0.7)


def dish_photo(vessel: str, colony_mm: float, px_per_mm: float = 5.0) -> np.ndarray:
    """A dish of 86 mm agar above its small label, with a round white colony of this radius in its middle."""
    scale = px_per_mm
    photo = shelf(round(150 * scale), round(150 * scale), level=70)
    middle = (round(75 * scale), round(60 * scale))
    noise = np.random.default_rng(RNG_SEED).normal(0, 3, (*photo.shape[:2], 1))
    cv2.circle(photo, middle, round(47 * scale), (205, 208, 210), -1)
    cv2.circle(photo, middle, round(45.5 * scale), (150, 152, 155), -1)
    cv2.circle(photo, middle, round(43 * scale), (196, 150, 62), -1)
    rows, columns = np.indices(photo.shape[:2])
    colony = np.hypot(columns - middle[0], rows - middle[1]) <= colony_mm * scale
    photo[colony] = mycelium(*photo.shape[:2])[colony]
    photo = np.clip(photo + noise, 0, 255).astype(np.uint8)
    small = LABELS["small"]
    paste(photo, label_picture(vessel, scale, small), round(115 * scale), round(60 * scale))
    return cv2.GaussianBlur(photo, (0, 0), 0.7)


def tub_photo(vessel: str, covered: float, face_mm: tuple[int, int], box: int, px_per_mm: float = 2.5) -> np.ndarray:
    """A box of substrate from above, its label 20 mm below the substrate; patches of ``covered`` of it are white.

    box: grey level of its walls, 12 mm wide, the inner half darker.
    """
    scale, (width_mm, height_mm), left_mm, top_mm = px_per_mm, face_mm, 80, 60
    photo = shelf(round((height_mm + 190) * scale), round((width_mm + 160) * scale))
    for rim_mm, level in ((12, box), (6, round(0.8 * box))):
        _fill(photo, left_mm - rim_mm, top_mm - rim_mm, width_mm + 2 * rim_mm, height_mm + 2 * rim_mm, scale, level)
    shape = (round(height_mm * scale), round(width_mm * scale))
    patches = np.random.default_rng(RNG_SEED).normal(0, 1, shape).astype(np.float32)
    patches = np.asarray(cv2.GaussianBlur(patches, (0, 0), 12 * scale), np.float32)
    white = patches > np.quantile(patches, 1 - covered) if covered < 1 else np.ones(shape, bool)
    face = np.where(white[..., None], mycelium(*shape), substrate(*shape))
    paste(photo, face, round(top_mm * scale), round(left_mm * scale))
    label_left_mm = left_mm + width_mm / 2 - LABELS["normal"].width_mm / 2
    paste(photo, label_picture(vessel, scale), round((top_mm + height_mm + 20) * scale), round(label_left_mm * scale))
    return cv2.GaussianBlur(photo, (0, 0), 0.7)


def with_colony(
    photo: np.ndarray, top_mm: float, left_mm: float, radius_mm: float, px_per_mm: float = 3.0
) -> np.ndarray:
    """The photo with a colony of mycelium, its edge lobed and fading over some mm; the middle in mm from its corner."""
    rows, columns = np.indices(photo.shape[:2]) / px_per_mm
    angle = np.arctan2(rows - top_mm, columns - left_mm)
    lobes = radius_mm * (1 + 0.12 * np.sin(5 * angle + 1) + 0.08 * np.sin(11 * angle))
    grown = (np.hypot(rows - top_mm, columns - left_mm) <= lobes).astype(np.float32)
    share = cv2.GaussianBlur(grown, (0, 0), 3.0 * px_per_mm)[..., None]
    white = mycelium(photo.shape[0], photo.shape[1])
    return np.asarray(photo * (1 - share) + share * white).clip(0, 255).astype(np.uint8)


def with_patch(
    photo: np.ndarray, top_mm: float, left_mm: float, side_mm: float, rgb=(31, 120, 68), opacity: float = 0.65
) -> np.ndarray:
    """The photo (3 px a mm) with a round patch of a colour, green if none is said; its edge fades over 4 mm.

    A patch with straight sides or a sharp edge is a tag to the segmenter. Millimetres from the photo's corner.
    """
    round_patch = np.zeros(photo.shape[:2], np.float32)
    middle = round(3 * (left_mm + side_mm / 2)), round(3 * (top_mm + side_mm / 2))
    cv2.circle(round_patch, middle, round(3 * side_mm / 2), 1.0, -1)
    share = opacity * cv2.GaussianBlur(round_patch, (0, 0), 6.0)[..., None]
    return np.asarray(photo * (1 - share) + share * np.array(rgb, np.float32)).clip(0, 255).astype(np.uint8)
