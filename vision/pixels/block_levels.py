"""Mean levels of the blocks of a JPEG that no picture has, as damage leaves them.

A JPEG holds each block's mean level as a difference from the block before (ITU-T T.81, F.1.2.1). One changed bit in
such a difference makes all that follows brighter, darker or of another colour, and the decoder notices nothing: what
becomes lighter than white or darker than black is cut off. But an encoder starts from samples between 0 and 255, so the
means of its blocks lie there too, but for the rounding to steps of quantisation. So the file is decoded once more, to
one pixel a block, with smaller steps, by which levels outside are not cut off.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray

from vision.pixels.jpeg_markers import ADOBE, DEFINES_TABLES, START_OF_SCAN, segments

_TABLES, _END = b"\xff\xdb", b"\xff\xd9"
_PROGRESSIVE = 0xC2
_FRAMES = (0xC0, 0xC1, _PROGRESSIVE)
_BLOCK_PX = 8
_MIDDLE, _WHITE = 128.0, 255.0
#: Steps are written so much smaller, or halved where they are too small for that.
_SMALLER = 2 / 3
#: A mean is held in eighths of a level (A.3.3), so half a step of rounding is this part of it in levels.
_HALF_STEP = 1 / 16
#: So many levels outside are allowed beside the rounding, to encoders that round otherwise to save room. For colours
#: more: cameras may make brightness and colours apart. Undamaged photos come to 1 and 4 (benchmarks/RESULTS.md).
_SPARE_LEVELS, _SPARE_LEVELS_COLOURS = 3.0, 15.0
#: RGB to luminance and colour differences, and back (ITU-T T.871).
_TO_YCC = np.array([[0.299, 0.587, 0.114], [-0.1687, -0.3313, 0.5], [0.5, -0.4187, -0.0813]], np.float32)
_TO_RGB = np.array([[1, 0, 1.402], [1, -0.3441, -0.7141], [1, 1.772, 0]], np.float32)


@dataclass(frozen=True)
class _Smaller:
    """A file with smaller steps. steps: of the mean of each component, before and after."""

    content: bytes
    steps: list[tuple[int, int]]


def has_impossible_level(content: bytes, height: int, block: tuple[int, int]) -> bool:
    """Whether a block of a JPEG is lighter than white or darker than black, or of more than full colour.

    content: of a file that the decoder has decoded. height: of its picture, in pixels. block: rows and columns of the
    picture that are coded together (MCU); colours are judged by their means over these, since only those are exact.
    False where it cannot be known: where steps are the smallest already or are written anew between scans, or where the
    components are red, green and blue themselves.
    """
    file = _with_smaller_steps(content)
    if file is None or height < _BLOCK_PX:
        return False
    small = simplejpeg.decode_jpeg(file.content, "RGB", min_height=-(-height // _BLOCK_PX), strict=False)
    larger = np.array([step / smaller for step, smaller in file.steps], np.float32)
    to_ycc = _TO_YCC * larger[:, None]
    middle = to_ycc.sum(axis=1, keepdims=True) * -_MIDDLE
    ycc = np.asarray(cv2.transform(np.asarray(small, np.float32), np.hstack([to_ycc, middle])), np.float32)
    rounding = file.steps[0][0] * _HALF_STEP + larger[0] / 2
    if _is_outside(ycc[..., 0], _SPARE_LEVELS + rounding):
        return True
    down, across = block[0] // _BLOCK_PX, block[1] // _BLOCK_PX
    rows, columns = ycc.shape[0] // down, ycc.shape[1] // across
    if not rows or not columns:
        return False
    whole = ycc[: rows * down, : columns * across]
    means = np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), np.float32)
    return _is_outside(np.asarray(cv2.transform(means, _TO_RGB), np.float32), _SPARE_LEVELS_COLOURS + rounding)


def _is_outside(levels: NDArray[np.float32], allowed: float) -> bool:
    """levels: from the middle."""
    return bool(levels.min() < -_MIDDLE - allowed or levels.max() > _WHITE - _MIDDLE + allowed)


def _with_smaller_steps(content: bytes) -> _Smaller | None:
    """The file with smaller steps of all means, and the smallest of all else (B.2.4.1)."""
    changed, steps, wanted, has_scans = bytearray(content), dict[int, tuple[int, int]](), b"", False
    for one in segments(content):
        if one.marker == START_OF_SCAN:
            of_each = [steps.get(number, (1, 1)) for number in wanted]
            has_scans |= one.part[:1] != bytes([len(wanted)])
            # A long search, so only where something follows the first scan.
            is_written_anew = has_scans and content.find(_TABLES, one.ends, content.find(_END, one.ends)) >= 0
            is_known = (
                len(wanted) in (1, 3) and not is_written_anew and all(step > smaller for step, smaller in of_each)
            )
            return _Smaller(bytes(changed), of_each * (3 // len(wanted))) if is_known else None
        if one.marker == DEFINES_TABLES:
            steps |= _write_smaller(changed, one.begins, min(one.ends, len(content)))
        elif one.marker in _FRAMES:
            wanted, has_scans = one.part[8::3], one.marker == _PROGRESSIVE
        if (one.marker in _FRAMES and one.part[6::3] == b"RGB") or (one.marker == ADOBE and one.part[-1:] == b"\0"):
            return None
    return None


def _write_smaller(content: bytearray, at: int, end: int) -> dict[int, tuple[int, int]]:
    """Change the tables between two places; by number of the table, the step of the mean before and after."""
    steps = {}
    while at < end:
        size, number = 2 if content[at] >> 4 else 1, content[at] & 15
        at += 1
        if at + 64 * size > end:
            break
        step = int.from_bytes(content[at : at + size], "big")
        smaller = max(1, round(step * _SMALLER))
        content[at : at + 64 * size] = smaller.to_bytes(size, "big") + (1).to_bytes(size, "big") * 63
        steps[number] = (step, smaller)
        at += 64 * size
    return steps
