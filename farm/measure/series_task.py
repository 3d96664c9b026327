"""A worker's part for a vessel's series: faces in as bytes, readings and changed faces out; it touches no file."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from itertools import accumulate
from typing import TYPE_CHECKING, Any

from calibration import Side
from farm.measure.vision_functions import Vision
from farm.records import SERIES_UNREADABLE
from farm.store import adapter_of, program_version

if TYPE_CHECKING:
    from vision.records import Face, Reading, VesselSpec

#: After so many photos what was kept stays: for one that arrives late, only those since then are read again. More marks
#: would take a vessel of 60 photos beyond 4 MB.
MARK_EVERY = 24
#: Layout of what is kept after a photo; another one makes all be read again.
_LAYOUT = "2"
#: Faces that are decoded at once, up to the next multiple of it: more would take memory and gain nothing.
_AT_ONCE = 12


@dataclass(frozen=True)
class FaceReading:
    """A reading that has a face. days: since inoculation; phase: shakes before it; alone: as first made."""

    photo: str
    slot: int
    days: float
    phase: int
    alone: dict[str, Any]
    side: Side


@dataclass(frozen=True)
class Stretch:
    """The photos of one side of a vessel that are to be read, in order of time.

    before: what was kept after the photo before them, None at the first; n_before: how many are before them. faces:
    None where one cannot be read. keys: of each, with all before it (``series_keys``). standing: keys of the marks
    before them where photos are read again; None where none is.
    """

    side: Side
    before: bytes | None
    face_readings: tuple[FaceReading, ...]
    faces: tuple[bytes | None, ...]
    keys: tuple[str, ...]
    n_before: int
    standing: tuple[str, ...] | None


@dataclass(frozen=True)
class SeriesTask:
    """A vessel's stretches to read. mates: bare faces of its batch, where it has none of its own."""

    spec: "VesselSpec"
    stretches: tuple[Stretch, ...]
    mates: tuple[bytes, ...] = ()


@dataclass(frozen=True)
class SeriesReading:
    """A reading as read in series. face: where it has changed."""

    photo: str
    slot: int
    reading: "Reading"
    face: bytes | None = None


@dataclass(frozen=True)
class SideRead:
    """How far a side has been read: the key of its photos, and what is kept for the next one.

    marks: what was kept after some photos before, by key. standing: as in ``Stretch``.
    """

    key: str
    kept: bytes
    marks: tuple[tuple[str, bytes], ...] = ()
    standing: tuple[str, ...] | None = None


@dataclass(frozen=True)
class SeriesOutcome:
    """Readings that were read, how far each side that had some has been read now, and the sides that failed."""

    face_readings: tuple[SeriesReading, ...]
    sides: dict[Side, SideRead]
    failed: tuple[Side, ...] = ()


def series_keys(spec: "VesselSpec", face_readings: Sequence[FaceReading], mates: Sequence[str]) -> list[str]:
    """For each photo of one side, in order of time, a key made of all that its reading in series depends on.

    That is the vessel, this photo and all before it. mates: names of the faces of its batch that are read with it.
    """
    begin = _digest("\n".join([program_version(), _LAYOUT, repr(spec), repr(mates)]))
    keys = accumulate((repr(one) for one in face_readings), lambda key, one: _digest(key + one), initial=begin)
    return list(keys)[1:]


def _digest(text: str) -> str:
    return sha256(text.encode()).hexdigest()[:32]


def read_series_task(vision: Vision, task: SeriesTask) -> SeriesOutcome:
    """The readings of a task's photos, each read with those before it."""
    found: list[SeriesReading] = []
    sides: dict[Side, SideRead] = {}
    failed: list[Side] = []
    for stretch in task.stretches:
        try:
            read, reached = _read(vision, task, stretch)
        except Exception:
            found += _unread(stretch)
            failed.append(stretch.side)
        else:
            found += read
            sides[stretch.side] = reached
    return SeriesOutcome(tuple(found), sides, tuple(failed))


def unread_series(task: SeriesTask) -> SeriesOutcome:
    """The outcome of a series that cannot be read: readings from each photo alone, flagged. It is tried again later."""
    readings = tuple(taken for one in task.stretches for taken in _unread(one))
    return SeriesOutcome(readings, {}, tuple(one.side for one in task.stretches))


def _read(vision: Vision, task: SeriesTask, stretch: Stretch) -> tuple[list[SeriesReading], SideRead]:
    from vision.days import SeriesFace

    mates = [vision.decode_face(mate) for mate in task.mates]
    kept, found, marks = stretch.before, list[SeriesReading](), list[tuple[str, bytes]]()
    for taken, contents in _blocks(stretch):
        faces = [
            SeriesFace(one.days, vision.decode_face(content or b""), reading, one.phase)
            for one, content, reading in zip(taken, contents, _made_alone(taken), strict=True)
        ]
        measured, kept = vision.continue_series(kept, faces, task.spec, mates)
        for one, content, before, after in zip(taken, contents, faces, measured, strict=True):
            changed = _has_changed(before.face, after.face)
            face = vision.encode_face(after.face, content) if changed else None
            found.append(SeriesReading(one.photo, one.slot, after.reading, face))
        if (stretch.n_before + len(found)) % MARK_EVERY == 0:
            marks.append((stretch.keys[len(found) - 1], kept))
    return found, SideRead(stretch.keys[-1], kept or b"", tuple(marks), stretch.standing)


def _blocks(stretch: Stretch) -> Iterator[tuple[Sequence[FaceReading], Sequence[bytes | None]]]:
    """Photos that are read at once; none are across a mark."""
    start, n_all = 0, len(stretch.faces)
    while start < n_all:
        end = min(n_all, start + _AT_ONCE - (stretch.n_before + start) % _AT_ONCE)
        yield stretch.face_readings[start:end], stretch.faces[start:end]
        start = end


def _has_changed(before: "Face", after: "Face | None") -> bool:
    import numpy as np

    return after is not None and after is not before and not np.array_equal(before.classes, after.classes)


def _unread(stretch: Stretch) -> Iterable[SeriesReading]:
    for taken, reading in zip(stretch.face_readings, _made_alone(stretch.face_readings), strict=True):
        flagged = replace(reading, flags=(*reading.flags, SERIES_UNREADABLE))
        yield SeriesReading(taken.photo, taken.slot, flagged)


def _made_alone(face_readings: Sequence[FaceReading]) -> "tuple[Reading, ...]":
    from vision.records import Reading

    return tuple(adapter_of(Reading).validate_python(taken.alone) for taken in face_readings)
