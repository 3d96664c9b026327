"""The second pass: each vessel's photos read together, in time order, so that the series helps the single picture."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from sqlalchemy import and_, select, update

from calibration import Side, Species
from farm.batch_mates import bare_mates
from farm.clock import days_between
from farm.eyes import Eyes, open_eyes
from farm.flags import SERIES_UNREADABLE
from farm.jobs import Work, run_jobs
from farm.readings import face_file, reading_columns
from farm.records import Vessel
from farm.revisions import mark_read, mark_stale
from farm.schema import photos, readings, vessels
from farm.store import Farm, replace_file
from farm.vessels import list_events, list_vessels

if TYPE_CHECKING:
    from vision import Reading, VesselSpec

#: How often the series of a vessel are tried while other processes change it.
_ROUNDS = 2


@dataclass(frozen=True)
class _Look:
    photo: str
    slot: int
    face: Path
    days: float
    phase: int
    alone: dict[str, Any]
    side: Side


@dataclass(frozen=True)
class _SeriesJob:
    spec: "VesselSpec"
    looks: tuple[_Look, ...]
    revision: int
    mates: tuple[Path, ...]


@dataclass(frozen=True)
class _SeriesTask:
    """What goes to a worker: it reads and writes no file. faces: as kept, None where one cannot be read.

    mates: bare faces of its batch, where it has none of its own.
    """

    spec: "VesselSpec"
    looks: tuple[_Look, ...]
    faces: tuple[bytes | None, ...]
    mates: tuple[bytes, ...]


#: One look as read in series: the reading, and its face where that has changed.
_Read = tuple["Reading", bytes | None]


def read_stale_series(
    farm: Farm,
    *,
    workers: int = 1,
    executor: Executor | None = None,
    eyes: Eyes | None = None,
    on_done: Callable[[int, int], None] | None = None,
) -> int:
    """Read anew the series of every vessel whose photos, events or size changed; the number of vessels.

    A vessel that another process changes in the meantime is read once more, and then left to that process.
    """
    work = Work(partial(_read_series, eyes or open_eyes()), prepare=_task, lost=_unread)
    n_read = 0
    for _ in range(_ROUNDS):
        jobs = _jobs(farm)
        if not jobs:
            break
        with closing(run_jobs(work, jobs, workers=workers, executor=executor)) as results:
            for n_done, (job, outcome) in enumerate(results, start=1):
                n_read += _keep(farm, job, outcome)
                if on_done is not None:
                    on_done(n_done, len(jobs))
    return n_read


def _jobs(farm: Farm) -> list[_SeriesJob]:
    stale = _stale(farm)
    if not stale:
        return []
    mates = bare_mates(farm, list_vessels(farm, ids=stale))
    if helped := mates.keys() - stale.keys():
        with farm.writing() as connection:
            mark_stale(connection, helped)
        stale = _stale(farm)
    shaken: dict[str, list[datetime]] = {}
    for event in list_events(farm, stale):
        if event.event == "shaken":
            shaken.setdefault(event.vessel, []).append(event.at)
    return [
        _job(farm, vessel, stale[vessel.id], shaken.get(vessel.id, ()), mates.get(vessel.id, ()))
        for vessel in list_vessels(farm, ids=stale)
    ]


def _stale(farm: Farm) -> dict[str, int]:
    """The vessels whose series want reading anew, with their revisions."""
    columns = select(vessels.c.id, vessels.c.revision).where(vessels.c.series_stale)
    with farm.reading() as connection:
        return {row.id: row.revision for row in connection.execute(columns)}


def vessel_spec(vessel: Vessel, own: Mapping[str, Species] | None = None) -> "VesselSpec":
    """What a picture needs to know of the vessel; own: the farm's own rows of the species table."""
    from vision import VesselSpec

    return VesselSpec(
        id=vessel.id,
        kind=vessel.kind,
        species=vessel.species,
        substrate=vessel.substrate,
        face_width_mm=vessel.face_width_mm,
        face_height_mm=vessel.face_height_mm,
        diameter_mm=vessel.diameter_mm,
        label_size=vessel.label_size,
        label_place=vessel.label_place,
        own_species=own,
    )


def _job(
    farm: Farm, vessel: Vessel, revision: int, shaken_at: Sequence[datetime], mates: tuple[Path, ...]
) -> _SeriesJob:
    query = (
        select(readings.c.photo, readings.c.slot, readings.c.side, readings.c.alone, photos.c.taken_at)
        .join(photos, photos.c.hash == readings.c.photo)
        .where(readings.c.vessel == vessel.id, readings.c.has_face)
        .order_by(photos.c.taken_at, readings.c.photo, readings.c.slot)
    )
    with farm.reading() as connection:
        looks = tuple(
            _Look(
                photo=row.photo,
                slot=row.slot,
                face=face_file(farm, row.photo, row.slot),
                days=days_between(vessel.inoculated_at, row.taken_at),
                phase=sum(at <= row.taken_at for at in shaken_at),
                alone=row.alone,
                side=row.side,
            )
            for row in connection.execute(query)
        )
    return _SeriesJob(vessel_spec(vessel, farm.own_species), looks, revision, mates)


def _task(job: _SeriesJob) -> _SeriesTask:
    mates = (content for mate in job.mates if (content := _content(mate)) is not None)
    return _SeriesTask(job.spec, job.looks, tuple(_content(look.face) for look in job.looks), tuple(mates))


def _content(face: Path) -> bytes | None:
    try:
        return face.read_bytes()
    except OSError:
        return None


def _unread(job: _SeriesJob) -> tuple[_Read, ...]:
    """Readings as made alone, and flagged: what stands for a series that cannot be read."""
    return tuple(
        (replace(reading, flags=(*reading.flags, SERIES_UNREADABLE)), None) for reading in _made_alone(job.looks)
    )


def _made_alone(looks: Sequence[_Look]) -> "tuple[Reading, ...]":
    from pydantic import TypeAdapter

    from vision import Reading

    as_reading = TypeAdapter(Reading)
    return tuple(as_reading.validate_python(look.alone) for look in looks)


def _read_series(eyes: Eyes, task: _SeriesTask) -> tuple[_Read, ...]:
    """Readings in series, one for each look; front and back are two surfaces, each read by itself."""
    read: dict[int, _Read] = {}
    for side in get_args(Side):
        places = [place for place, look in enumerate(task.looks) if look.side == side]
        looks, faces = [task.looks[place] for place in places], [task.faces[place] for place in places]
        read |= zip(places, _read_side(eyes, task.spec, looks, faces, task.mates), strict=True)
    return tuple(read[place] for place in range(len(task.looks)))


def _read_side(
    eyes: Eyes, spec: "VesselSpec", looks: Sequence[_Look], contents: Sequence[bytes | None], mates: Sequence[bytes]
) -> tuple[_Read, ...]:
    """One side in series; as made alone, and flagged, where the series cannot be read."""
    from vision import SeriesFace, count_own_colours

    alone = _made_alone(looks)
    try:
        faces = [
            SeriesFace(days=look.days, face=eyes.decode_face(content or b""), reading=reading, phase=look.phase)
            for look, content, reading in zip(looks, contents, alone, strict=True)
        ]
        seen = [
            count_own_colours(one, spec)
            for one in eyes.read_series(faces, spec, [eyes.decode_face(mate) for mate in mates])
        ]
        measured = eyes.find_signs(faces, seen, spec)
        return tuple(
            (one.reading, None if one.face is None or one.face is before.face else eyes.encode_face(one.face))
            for before, one in zip(faces, measured, strict=True)
        )
    except Exception:
        return tuple((replace(reading, flags=(*reading.flags, SERIES_UNREADABLE)), None) for reading in alone)


def _keep(farm: Farm, job: _SeriesJob, outcome: Sequence[_Read]) -> bool:
    """Keep a series as read; False where the vessel has changed since it was taken up, and nothing is kept."""
    with farm.writing() as connection:
        if not mark_read(connection, job.spec.id, job.revision):
            return False
        for look, (reading, face) in zip(job.looks, outcome, strict=True):
            if face is not None:
                replace_file(look.face, face)
            row = and_(readings.c.photo == look.photo, readings.c.slot == look.slot)
            connection.execute(update(readings).where(row).values(**reading_columns(reading)))
    return True
