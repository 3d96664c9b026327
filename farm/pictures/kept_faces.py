"""Kept faces as they are read for pictures: one that is damaged costs its picture, and is told."""

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from farm.store.errors import DamagedFaceError

if TYPE_CHECKING:
    from vision.records import Face

_WORDS = "The picture kept of this face is damaged.\nRun `spawnrun check`: it says what to do."


def read_face(source: Path, *, at_least_px: int | None = None) -> "Face | None":
    """A kept face; None where there is no such file. at_least_px: as in ``decode_face``.

    Raises DamagedFaceError for one that cannot be read.
    """
    from vision.face import decode_face

    if not source.is_file():
        return None
    try:
        return decode_face(source.read_bytes(), at_least_px=at_least_px)
    except (ValueError, OSError) as error:
        raise DamagedFaceError(
            f"the kept face {source.name} is damaged ({error}); `spawnrun check` says what to do"
        ) from None


def damaged_face_jpeg() -> bytes:
    """A picture that says that a kept face is damaged, to stand in its place."""
    from PIL import Image, ImageDraw, ImageFont

    image = Image.new("RGB", (640, 320), (225, 225, 225))
    font = ImageFont.load_default(size=24)
    ImageDraw.Draw(image).multiline_text((320, 160), _WORDS, fill=(40, 40, 40), font=font, anchor="mm", align="center")
    buffer = BytesIO()
    image.save(buffer, "JPEG", quality=80)
    return buffer.getvalue()


def small_face_jpeg(source: Path, longest_px: int) -> bytes | None:
    """The picture of a kept face, scaled down to fit longest_px, as JPEG; None where there is no such file.

    Raises DamagedFaceError.
    """
    import numpy as np
    from PIL import Image

    from vision.face import decode_face_picture

    if not source.is_file():
        return None
    try:
        rgb = decode_face_picture(source.read_bytes(), longest_px)
    except (ValueError, OSError) as error:
        raise DamagedFaceError(f"the kept face {source.name} is damaged ({error})") from None
    image = Image.fromarray(np.ascontiguousarray(rgb))
    image.thumbnail((longest_px, longest_px))
    buffer = BytesIO()
    image.save(buffer, "JPEG", quality=78)
    return buffer.getvalue()
