"""Load a picture file as an upright RGB array, with the time it was taken."""

import contextlib
import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import pi_heif
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

pi_heif.register_heif_opener()
Image.init()  # formats can only be opened by name once they are loaded

#: File name suffixes of pictures that can be read.
PICTURE_SUFFIXES = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif", ".tif", ".tiff")
#: Largest picture that is opened, in pixels: more than today's largest phone sensors, less than would fill memory.
MAX_PIXELS = 220_000_000
Image.MAX_IMAGE_PIXELS = MAX_PIXELS  # Pillow's own limit would refuse photos of 200 megapixels
#: Longest side that is opened: the QR decoder accepts 65,535, and labels are also searched at twice the size.
MAX_SIDE = 32_767
_LONGEST_NAME, _LONGEST_FOCAL_MM = 80, 2000.0
_FORMATS = ("JPEG", "PNG", "WEBP", "HEIF", "TIFF")

_JPEG_END = b"\xff\xd9"
#: Steps that turn a picture of each EXIF orientation (CIPA DC-008) upright.
_TO_UPRIGHT: dict[int, tuple[Callable[[cv2.typing.MatLike], cv2.typing.MatLike], ...]] = {
    2: (partial(cv2.flip, flipCode=1),),
    3: (partial(cv2.rotate, rotateCode=cv2.ROTATE_180),),
    4: (partial(cv2.flip, flipCode=0),),
    5: (cv2.transpose,),
    6: (partial(cv2.rotate, rotateCode=cv2.ROTATE_90_CLOCKWISE),),
    7: (cv2.transpose, partial(cv2.rotate, rotateCode=cv2.ROTATE_180)),
    8: (partial(cv2.rotate, rotateCode=cv2.ROTATE_90_COUNTERCLOCKWISE),),
}


class PictureError(Exception):
    """A file cannot be read as a picture; the message is the reason, for the user."""


@dataclass(frozen=True, eq=False)
class Picture:
    """rgb: uint8 (H, W, 3), upright. taken_at: EXIF time with its offset if the camera wrote one, or None.

    camera: make and model, "" if the file has none. focal_35mm: focal length as 35 mm equivalent, or None.
    """

    rgb: NDArray[np.uint8]
    taken_at: datetime | None
    camera: str = ""
    focal_35mm: float | None = None


def load_picture(source: Path) -> Picture:
    """Read a JPEG, PNG, WebP, HEIC or TIFF file.

    Raises PictureError, with the reason, for anything that is not a complete picture in one of these formats.
    """
    if not source.is_file():
        raise PictureError("not a file")
    if source.stat().st_size == 0:
        raise PictureError("the file is empty")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # broken tags and large pictures are handled below
            with Image.open(source, formats=_FORMATS) as image:
                _check_size(image)
                taken_at = _taken_at(image)
                camera, focal_35mm = _camera(image)
                rgb = _upright_jpeg(source, image)
                rgb = _upright_rgb(image) if rgb is None else rgb
    except UnidentifiedImageError:
        raise PictureError("not a picture that can be read") from None
    except PermissionError:
        raise PictureError("no permission to read the file") from None
    except Image.DecompressionBombError:
        raise PictureError("too large to open") from None
    except PictureError:
        raise
    except (OSError, SyntaxError, ValueError, EOFError, MemoryError, OverflowError, ZeroDivisionError) as error:
        raise PictureError(_reason(error)) from None
    except Exception as error:  # decoders raise anything on corrupted files; none may end a batch
        raise PictureError(f"damaged: {type(error).__name__}") from None
    return Picture(rgb, taken_at, camera, focal_35mm)


def _check_size(image: Image.Image) -> None:
    if image.width * image.height > MAX_PIXELS or max(image.size) > MAX_SIDE:
        raise PictureError(f"too large: {image.width} x {image.height} pixels")


def _reason(error: BaseException) -> str:
    text = str(error).lower()
    if "truncated" in text or "unexpected end" in text or "broken data" in text or "not processed" in text:
        return "the file is cut short"
    return f"damaged: {type(error).__name__}"


def _upright_jpeg(source: Path, image: Image.Image) -> NDArray[np.uint8] | None:
    """The upright pixels of an ordinary JPEG, by OpenCV; None for anything else.

    OpenCV and Pillow decode with the same library to the same levels; OpenCV takes half the time. A damaged file also
    gives None: Pillow then reports what is wrong with it.
    """
    if image.format not in ("JPEG", "MPO") or image.mode not in ("RGB", "L"):
        return None
    content = source.read_bytes()
    if content.rfind(_JPEG_END) < len(content) // 2:  # truncated: OpenCV would print a warning to the terminal
        return None
    decoded = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION)
    if decoded is None or decoded.shape[:2] != (image.height, image.width):
        return None
    with contextlib.suppress(Exception):  # an unreadable orientation tag, as below
        for step in _TO_UPRIGHT.get(image.getexif().get(ExifTags.Base.Orientation, 1), ()):
            decoded = step(decoded)
    return np.asarray(decoded, np.uint8)


def _upright_rgb(image: Image.Image) -> NDArray[np.uint8]:
    image.load()
    if image.mode in ("I;16", "I;16B", "I;16L", "I"):
        deep = np.asarray(image).astype(np.float64)
        image = Image.fromarray(np.clip(deep / (257.0 if deep.max() > 255 else 1.0), 0, 255).astype(np.uint8))
    with contextlib.suppress(Exception):  # an unreadable orientation tag leaves the picture as it is
        image = ImageOps.exif_transpose(image)
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        image = image.convert("RGBA")
        paper = Image.new("RGBA", image.size, (0, 0, 0, 255))
        image = Image.alpha_composite(paper, image)
    return np.ascontiguousarray(np.asarray(image.convert("RGB"), np.uint8))


def _taken_at(image: Image.Image) -> datetime | None:
    """EXIF DateTimeOriginal with its offset, else DateTime (CIPA DC-008); None if neither can be read."""
    try:
        exif = image.getexif()
        detail = exif.get_ifd(ExifTags.IFD.Exif)
        for time_tag, offset_tag, where in (
            (ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal, detail),
            (ExifTags.Base.DateTimeDigitized, ExifTags.Base.OffsetTimeDigitized, detail),
            (ExifTags.Base.DateTime, ExifTags.Base.OffsetTime, exif),
        ):
            text = str(where.get(time_tag, "")).strip("\x00 ")
            if re.fullmatch(r"\d{4}:\d\d:\d\d \d\d:\d\d:\d\d", text):
                offset = detail.get(offset_tag) or exif.get(offset_tag)
                return datetime.strptime(text, "%Y:%m:%d %H:%M:%S").replace(tzinfo=_zone(str(offset or "")))
    except Exception:
        return None
    return None


def _camera(image: Image.Image) -> tuple[str, float | None]:
    """EXIF make and model (the make not repeated), and the focal length as 35 mm equivalent (CIPA DC-008)."""
    try:
        exif = image.getexif()
        make, model = (
            " ".join("".join(letter if letter.isprintable() else " " for letter in str(exif.get(tag, ""))).split())
            for tag in (ExifTags.Base.Make, ExifTags.Base.Model)
        )
        focal = float(exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.FocalLengthIn35mmFilm) or 0)
    except Exception:
        return "", None
    name = model if model.lower().startswith(make.lower()) else f"{make} {model}".strip()
    return name[:_LONGEST_NAME], focal if 0 < focal < _LONGEST_FOCAL_MM else None


def _zone(offset: str) -> timezone | None:
    match = re.fullmatch(r"([+-])(\d\d):(\d\d)", offset.strip("\x00 "))
    if not match or int(match[2]) > 14:
        return None
    minutes = int(match[2]) * 60 + int(match[3])
    return timezone(timedelta(minutes=minutes if match[1] == "+" else -minutes))
