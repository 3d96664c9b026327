"""What a camera wrote into a picture file: when it was taken, by which camera, how it was held."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image

_LONGEST_NAME, _LONGEST_FOCAL_MM = 80, 2000.0
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


def upright(rgb: NDArray[np.uint8], image: Image.Image) -> NDArray[np.uint8]:
    """The pixels turned as the image's EXIF orientation says; as they are where it cannot be read."""
    try:
        orientation = image.getexif().get(ExifTags.Base.Orientation, 1)
        steps = _TO_UPRIGHT.get(orientation, ())
    except Exception:  # anything may come out of a damaged tag
        steps = ()
    turned: cv2.typing.MatLike = rgb
    for step in steps:
        turned = step(turned)
    return np.ascontiguousarray(turned, np.uint8)


def taken_at(image: Image.Image) -> datetime | None:
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


def camera(image: Image.Image) -> tuple[str, float | None]:
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
