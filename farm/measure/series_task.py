"""A worker's part for a vessel's series: faces in as bytes, readings and changed faces out; it touches no file."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from importlib.metadata import version
from typing import TYPE_CHECKING, Any, get_args

from calibration import Side
from farm.measure.series_chunks import Chunk, split_series
from farm.measure.vision_functions import Vision
from farm.records import SERIES_UNREADABLE
from farm.store import adapter_of

if TYPE_CHECKING:
    from vision.records import Face, Reading, VesselSpec


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
class SeriesTask:
    """A vessel's readings in order of time, the chunks to read, and the faces of these, by place.

    keys: of all its chunks, those that need no reading too. faces: None where one cannot be read. mates: bare faces
    of its batch, where it has none of its own.
    """

    spec: "VesselSpec"
    face_readings: tuple[FaceReading, ...]
    chunks: tuple[Chunk, ...]
    keys: tuple[str, ...]
    faces: dict[int, bytes | None]
    mates: tuple[bytes, ...] = ()


@dataclass(frozen=True)
class SeriesReading:
    """A reading as read in series. face: where it has changed."""

    photo: str
    slot: int
    reading: "Reading"
    face: bytes | None = None


@dataclass(frozen=True)
class SeriesOutcome:
    """Readings that were read again, and the keys of the vessel's chunks as they now stand."""

    face_readings: tuple[SeriesReading, ...]
    keys: tuple[str, ...]


def keyed_chunks(spec: "VesselSpec", face_readings: Sequence[FaceReading], mates: Sequence[str]) -> dict[str, Chunk]:
    """The chunks of front and back, two surfaces each read by itself, by a key made of all that the result depends on.

    mates: names of the faces of its batch that are read with it.
    """
    found: dict[str, Chunk] = {}
    for side in get_args(Side):
        for chunk in split_series([place for place, taken in enumerate(face_readings) if taken.side == side]):
            content = [
                version("spawnrun"),
                repr(spec),
                repr(mates),
                repr([face_readings[at] for at in (*chunk.context, *chunk.own)]),
            ]
            found[sha256("\n".join(content).encode()).hexdigest()] = chunk
    return found


def read_series_task(vision: Vision, task: SeriesTask) -> SeriesOutcome:
    """The readings of the chunks of a task, read in series."""
    read = [taken for chunk in task.chunks for taken in _read_chunk(vision, task, chunk)]
    return SeriesOutcome(tuple(read), task.keys)


def unread_series(task: SeriesTask) -> SeriesOutcome:
    """The outcome of a series that cannot be read: readings from each photo alone, flagged. It is tried again later."""
    return SeriesOutcome(tuple(taken for one in task.chunks for taken in _unread(task, one)), ())


def _read_chunk(vision: Vision, task: SeriesTask, chunk: Chunk) -> Iterable[SeriesReading]:
    from vision.days import SeriesFace
    from vision.surface import count_own_colours

    places = sorted((*chunk.context, *chunk.own))
    face_readings = [task.face_readings[place] for place in places]
    try:
        faces = [
            SeriesFace(taken.days, vision.decode_face(task.faces[place] or b""), reading, taken.phase)
            for place, taken, reading in zip(places, face_readings, _made_alone(face_readings), strict=True)
        ]
        mates = [vision.decode_face(mate) for mate in task.mates]
        seen = [count_own_colours(one, task.spec) for one in vision.read_series(faces, task.spec, mates)]
        measured = vision.find_signs(faces, seen, task.spec)
        own = set(chunk.own)
        return [
            SeriesReading(
                taken.photo,
                taken.slot,
                one.reading,
                None if not _has_changed(before.face, one.face) else vision.encode_face(one.face, task.faces[place]),
            )
            for place, taken, before, one in zip(places, face_readings, faces, measured, strict=True)
            if place in own
        ]
    except Exception:
        return _unread(task, chunk)


def _has_changed(before: "Face", after: "Face | None") -> bool:
    import numpy as np

    return after is not None and after is not before and not np.array_equal(before.classes, after.classes)


def _unread(task: SeriesTask, chunk: Chunk) -> list[SeriesReading]:
    face_readings = [task.face_readings[place] for place in chunk.own]
    return [
        SeriesReading(taken.photo, taken.slot, replace(reading, flags=(*reading.flags, SERIES_UNREADABLE)))
        for taken, reading in zip(face_readings, _made_alone(face_readings), strict=True)
    ]


def _made_alone(face_readings: Sequence[FaceReading]) -> "tuple[Reading, ...]":
    from vision.records import Reading

    return tuple(adapter_of(Reading).validate_python(taken.alone) for taken in face_readings)
