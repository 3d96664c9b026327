"""Photos of a phone's size, made from the demo's."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from importlib.resources import files
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image

#: The newest picture of each kind, with about so many vessels: six, two and two.
_PICTURES = ("bags/20260316_1200.jpg", "jars/20260314_1800.jpg", "plates/20260309_1400.jpg")
#: The first is taken then; all lie before the moment that the demo's list is made for.
_FIRST = datetime(2026, 3, 16, 12, 5)  # noqa: DTZ001 - a camera knows no time zone
_TWICE, _NOISE, _QUALITY = 2, 5.0, 97
_TAKEN_TAG, _EXIF_IFD = 36867, 0x8769


def photos(number: int) -> Iterator[bytes]:
    """So many JPEG files, each as if taken a minute after the one before."""
    large = [_enlarged(Path(str(files("sample_images") / "photos" / name))) for name in _PICTURES]
    for n in range(number):
        exif = Image.Exif()
        exif.get_ifd(_EXIF_IFD)[_TAKEN_TAG] = f"{_FIRST + timedelta(minutes=n):%Y:%m:%d %H:%M:%S}"
        file = BytesIO()
        large[n % len(large)].save(file, "JPEG", quality=_QUALITY, exif=exif)
        yield file.getvalue()


def _enlarged(source: Path) -> Image.Image:
    """The picture at twice its size, with a camera's noise."""
    picture = Image.open(source).convert("RGB")
    wide = picture.resize((picture.width * _TWICE, picture.height * _TWICE), Image.Resampling.BICUBIC)
    noise = np.random.default_rng(7).normal(0.0, _NOISE, (wide.height, wide.width, 3))
    return Image.fromarray(np.clip(np.asarray(wide) + noise, 0, 255).astype(np.uint8))
