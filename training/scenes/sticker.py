"""The version 1 label as a texture, drawn from the geometry in ``calibration``."""

import matplotlib
import numpy as np
import segno
from PIL import Image, ImageDraw, ImageFont

from calibration import LABELS
from training.segmenter.noise import Field

_PX_PER_MM = 20
#: What a matt white sticker sends back.
_STOCK = 0.86


def draw_label(vessel: str, size: str) -> Field:
    """Linear reflectance (H, W, 3) of the label of a vessel; size: normal or small."""
    label = LABELS["small" if size == "small" else "normal"]
    scale = _PX_PER_MM * 60 / label.width_mm
    picture = Image.new("L", (round(label.width_mm * scale), round(label.height_mm * scale)), 255)
    pen = ImageDraw.Draw(picture)
    code = segno.make_qr(vessel, version=1, error="q", mode="alphanumeric", boost_error=False)
    for row, line in enumerate(code.matrix):
        for column, dark in enumerate(line):
            if dark:
                module = label.module_mm * scale
                left, top = label.code_left_mm * scale + column * module, label.code_top_mm * scale + row * module
                pen.rectangle([left, top, left + module - 1, top + module - 1], fill=0)
    for patch in label.patches:
        left, top, side = patch.left_mm * scale, patch.top_mm * scale, patch.side_mm * scale
        pen.rectangle([left, top, left + side - 1, top + side - 1], fill=patch.srgb)
    box = (label.id_width_mm * scale, label.id_height_mm * scale)
    font = _fitting_font(vessel, box)
    middle = (label.id_left_mm * scale + box[0] / 2, label.id_top_mm * scale + box[1] / 2)
    pen.text(middle, vessel, font=font, fill=0, anchor="mm")
    encoded = np.asarray(picture, np.float32) / 255
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    ink = np.maximum(_STOCK * linear, 0.015)  # print is never quite black
    return np.repeat(ink[..., None], 3, axis=2).astype(np.float32)


def _fitting_font(text: str, box: tuple[float, float]) -> ImageFont.FreeTypeFont:
    path = f"{matplotlib.get_data_path()}/fonts/ttf/DejaVuSans-Bold.ttf"
    size = round(box[1])
    while size > 6 and ImageFont.truetype(path, size).getlength(text) > box[0]:
        size -= 1
    return ImageFont.truetype(path, size)
