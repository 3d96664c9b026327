"""Faces as bytes for storage: picture as JPEG, class maps as PNG, position in the photo as JSON."""

import io
import json
import zipfile

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray

from vision.records import Face

_JPEG_QUALITY = 90
_VERSION = 1
#: Decoder flags for a JPEG at a fraction of its size: faster than scaling it down afterwards.
_REDUCED = {
    1: cv2.IMREAD_COLOR,
    2: cv2.IMREAD_REDUCED_COLOR_2,
    4: cv2.IMREAD_REDUCED_COLOR_4,
    8: cv2.IMREAD_REDUCED_COLOR_8,
}


def encode_face(face: Face, decoded_from: bytes | None = None) -> bytes:
    """A zip of ``picture.jpg``, ``classes.png``, ``alone.png`` and ``face.json``.

    decoded_from: the bytes that the face was decoded from, if only its class maps have changed. Their JPEG is reused,
    because encoding it again with every new photo would degrade it each time.
    """
    if decoded_from is None:
        _, coded = cv2.imencode(
            ".jpg", cv2.cvtColor(face.rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY]
        )
        picture = coded.tobytes()
    else:
        with zipfile.ZipFile(io.BytesIO(decoded_from)) as before:
            picture = before.read("picture.jpg")
    _, classes = cv2.imencode(".png", face.classes)
    alone = classes if face.classes_alone is face.classes else cv2.imencode(".png", face.classes_alone)[1]
    facts = {
        "version": _VERSION,
        "px_per_mm": face.px_per_mm,
        "to_photo": face.to_photo.tolist(),
        "labelled": face.labelled,
    }
    parts = {"picture.jpg": picture, "classes.png": classes.tobytes(), "alone.png": alone.tobytes()}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        for name, content in parts.items():
            archive.writestr(zipfile.ZipInfo(name), content)
        archive.writestr(zipfile.ZipInfo("face.json"), json.dumps(facts))
    return buffer.getvalue()


def decode_face(content: bytes, *, at_least_px: int | None = None) -> Face:
    """The face from bytes made by ``encode_face`` (the picture to JPEG accuracy). Raises ValueError if damaged.

    at_least_px: for display only. The face is decoded at 1/2, 1/4 or 1/8 of its size, with the longer side at least
    this long; ``classes_alone`` is then the same as ``classes``.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            facts = json.loads(archive.read("face.json"))
            classes = _decoded(archive, "classes.png", cv2.IMREAD_GRAYSCALE)
            by = 1 if at_least_px is None else _part(max(classes.shape), at_least_px)
            picture = _decoded(archive, "picture.jpg", _REDUCED[by])
            classes = classes[::by, ::by]
            is_same = by > 1 or archive.read("alone.png") == archive.read("classes.png")
            alone = classes.copy() if is_same else _decoded(archive, "alone.png", cv2.IMREAD_GRAYSCALE)
        version = facts.get("version")
    except Exception as error:  # a damaged archive raises anything, from NotImplementedError to struct.error
        raise ValueError(f"not a saved face: {error}") from None
    if version != _VERSION:
        raise ValueError("a saved face of another version")
    return Face(
        rgb=np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB), np.uint8),
        classes=np.ascontiguousarray(classes, np.uint8),
        classes_alone=np.ascontiguousarray(alone, np.uint8),
        px_per_mm=float(facts["px_per_mm"]) / by,
        to_photo=np.array(facts["to_photo"], np.float64) @ np.diag([by, by, 1.0]),
        labelled=bool(facts["labelled"]),
    )


def _part(size_px: int, at_least_px: int) -> int:
    """The largest divisor that leaves at least the wanted size."""
    return max((by for by in _REDUCED if size_px // by >= at_least_px), default=1)


def _decoded(archive: zipfile.ZipFile, name: str, how: int) -> NDArray[np.uint8]:
    found = cv2.imdecode(np.frombuffer(archive.read(name), np.uint8), how)
    if found is None:
        raise KeyError(name)
    return np.asarray(found, np.uint8)


def decode_face_picture(content: bytes, longest_px: int) -> NDArray[np.uint8]:
    """Only the picture (rows, columns, 3) of a saved face; its longer side is at least longest_px, if the face is.

    The JPEG is decoded at 1/2, 1/4 or 1/8 where that suffices: many times faster than decoding the whole face.
    Raises ValueError if damaged.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            coded = archive.read("picture.jpg")
        height, width, *_ = simplejpeg.decode_jpeg_header(coded)
        rows = height // _part(max(height, width), longest_px)
        return np.asarray(simplejpeg.decode_jpeg(coded, "RGB", min_height=rows), np.uint8)
    except Exception as error:  # as above
        raise ValueError(f"not a saved face: {error}") from None


def pixels_in_photo(face: Face) -> NDArray[np.bool_]:
    """True where a saved face lies inside its photo (outside it is black)."""
    # Same as face.rgb.max(axis=2) > 2, in a twentieth of the time.
    return np.asarray(cv2.inRange(face.rgb, (0, 0, 0), (2, 2, 2)) == 0)
