"""Faces as bytes for storage: picture as JPEG, class maps as PNG, position in the photo as JSON."""

import io
import json
import zipfile

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray

from vision.pixels import block_means
from vision.records import Face

#: Brightness and colours at full size, which OpenCV does where their qualities differ: the same bytes at half the
#: colours' size take readings farther from the photo's own (benchmarks/RESULTS.md, "A day's cost as a farm ages").
_JPEG = (cv2.IMWRITE_JPEG_LUMA_QUALITY, 80, cv2.IMWRITE_JPEG_CHROMA_QUALITY, 60)
#: Runs without prediction: smaller and quicker than OpenCV's usual way for class maps.
_PNG = (cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_NONE, cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE)
#: The picture is kept whole up to so far from the vessel, and coarse beyond: this is never read, but looked at.
_WHOLE_UP_TO_MM, _COARSE_PX = 8.0, 16
#: Darkest level of what is coarse: black means outside the photo.
_DARKEST = np.uint8(8)
#: In faces of the first version ``alone.png`` is the map itself.
_VERSION, _FIRST_VERSION = 2, 1
#: Decoder flags for a JPEG at a fraction of its size: faster than scaling it down afterwards.
_REDUCED = {
    1: cv2.IMREAD_COLOR,
    2: cv2.IMREAD_REDUCED_COLOR_2,
    4: cv2.IMREAD_REDUCED_COLOR_4,
    8: cv2.IMREAD_REDUCED_COLOR_8,
}


def encode_face(face: Face, decoded_from: bytes | None = None) -> bytes:
    """A zip of ``picture.jpg``, ``classes.png``, ``alone.png`` and ``face.json``.

    alone.png holds the bits by which ``classes_alone`` differs. What stands around the vessel is kept coarse: it is a
    third of the bytes.
    decoded_from: the bytes that the face was decoded from, if only its class maps have changed. Their JPEG is reused,
    because encoding it again with every new photo would degrade it each time.
    """
    if decoded_from is None:
        picture = cv2.imencode(".jpg", cv2.cvtColor(_coarse_around(face), cv2.COLOR_RGB2BGR), _JPEG)[1].tobytes()
    else:
        with zipfile.ZipFile(io.BytesIO(decoded_from)) as before:
            picture = before.read("picture.jpg")
    _, classes = cv2.imencode(".png", face.classes, _PNG)
    _, alone = cv2.imencode(".png", face.classes ^ face.classes_alone, _PNG)
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


def _coarse_around(face: Face) -> NDArray[np.uint8]:
    """The picture with little detail away from the vessel."""
    vessel = face.classes_alone > 0
    rows, columns = face.rgb.shape[:2]
    if not vessel.any() or min(rows, columns) < _COARSE_PX:
        return face.rgb
    side = 2 * round(_WHOLE_UP_TO_MM * face.px_per_mm) + 1
    near = cv2.dilate(vessel.view(np.uint8), np.ones((side, side), np.uint8)) > 0
    few = np.maximum(block_means(face.rgb, _COARSE_PX), _DARKEST)
    coarse = cv2.resize(few, (columns, rows), interpolation=cv2.INTER_LINEAR)
    around = (~near & pixels_in_photo(face)).view(np.uint8)
    return np.asarray(cv2.copyTo(coarse, around, face.rgb.copy()), np.uint8)


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
            version = facts["version"]
            classes = classes[::by, ::by]
            alone = classes.copy() if by > 1 else _class_map_alone(archive, classes, version)
    except Exception as error:  # a damaged archive raises anything, from NotImplementedError to struct.error
        raise ValueError(f"not a saved face: {error}") from None
    if version not in (_VERSION, _FIRST_VERSION):
        raise ValueError("a saved face of another version")
    return Face(
        rgb=np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB), np.uint8),
        classes=np.ascontiguousarray(classes, np.uint8),
        classes_alone=np.ascontiguousarray(alone, np.uint8),
        px_per_mm=float(facts["px_per_mm"]) / by,
        to_photo=np.array(facts["to_photo"], np.float64) @ np.diag([by, by, 1.0]),
        labelled=bool(facts["labelled"]),
    )


def _class_map_alone(archive: zipfile.ZipFile, classes: NDArray[np.uint8], version: int) -> NDArray[np.uint8]:
    kept = _decoded(archive, "alone.png", cv2.IMREAD_GRAYSCALE)
    return kept if version == _FIRST_VERSION else classes ^ kept


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
