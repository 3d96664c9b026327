"""The second pass: each vessel's photos read together in time order, so that the series improves each reading."""

from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import and_, select, update

from calibration import Species
from farm.measure.batch_mates import bare_mates
from farm.measure.photo_jobs import SPEC_COLUMNS
from farm.measure.series_task import (
    FaceReading,
    SeriesOutcome,
    SeriesTask,
    keyed_chunks,
    read_series_task,
    unread_series,
)
from farm.measure.vision_functions import Vision, load_vision
from farm.records import face_file, list_events, list_vessels, reading_columns
from farm.records.models import Vessel
from farm.store import Farm, days_between, mark_read, mark_stale, replace_file
from farm.store.schema import photos, readings, vessels
from farm.workers import Work, run_jobs

if TYPE_CHECKING:
    from vision.records import VesselSpec

#: How often the series of a vessel are tried while other processes change it.
_ROUNDS = 2


@dataclass(frozen=True)
class _Stale:
    revision: int
    chunks: str


@dataclass(frozen=True)
class _SeriesJob:
    """A vessel at a revision; its readings are fetched when it is handed to a worker.

    read: keys of chunks known. mates: bare faces of its batch, where it has none of its own.
    """

    vessel: Vessel
    shaken_at: tuple[datetime, ...]
    revision: int
    read: frozenset[str]
    mates: tuple[Path, ...]


def read_stale_series(
    farm: Farm,
    *,
    workers: int = 1,
    executor: Executor | None = None,
    vision: Vision | None = None,
    on_done: Callable[[int, int], None] | None = None,
) -> int:
    """Read again the series of every vessel whose photos, events or size changed; the number of vessels.

    Of a long series only the chunks that a change touches are read (series_chunks.py). A vessel that another process
    changes meanwhile is read once more, and then left to that process.
    """
    n_read = 0
    for _ in range(_ROUNDS):
        jobs = _jobs(farm)
        if not jobs:
            break
        work = Work(
            partial(read_series_task, vision or load_vision()),
            prepare=partial(_task, farm),
            lost=lambda job: unread_series(_task(farm, job)),
        )
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
        _SeriesJob(
            vessel,
            tuple(shaken.get(vessel.id, ())),
            stale[vessel.id].revision,
            frozenset(stale[vessel.id].chunks.split()),
            mates.get(vessel.id, ()),
        )
        for vessel in list_vessels(farm, ids=stale)
    ]


def _stale(farm: Farm) -> dict[str, _Stale]:
    """The vessels whose series are stale, by id."""
    columns = select(vessels.c.id, vessels.c.revision, vessels.c.chapters).where(vessels.c.series_stale)
    with farm.reading() as connection:
        return {row.id: _Stale(row.revision, row.chapters or "") for row in connection.execute(columns)}


def vessel_spec(vessel: Vessel, own: Mapping[str, Species] | None = None) -> "VesselSpec":
    """What a picture needs to know of the vessel; own: the farm's own rows of the species table."""
    from vision.records import VesselSpec

    return VesselSpec(**{name: getattr(vessel, name) for name in SPEC_COLUMNS}, own_species=own)


def _task(farm: Farm, job: _SeriesJob) -> SeriesTask:
    spec, face_readings = vessel_spec(job.vessel, farm.own_species), _face_readings(farm, job)
    keyed = keyed_chunks(spec, face_readings, [mate.name for mate in job.mates])
    wanted = tuple(chunk for key, chunk in keyed.items() if key not in job.read)
    places = {place for chunk in wanted for place in (*chunk.context, *chunk.own)}
    faces = {
        place: _content(face_file(farm, face_readings[place].photo, face_readings[place].slot))
        for place in sorted(places)
    }
    mates = (content for mate in job.mates if (content := _content(mate)) is not None)
    return SeriesTask(spec, face_readings, wanted, tuple(keyed), faces, tuple(mates) if wanted else ())


def _face_readings(farm: Farm, job: _SeriesJob) -> tuple[FaceReading, ...]:
    query = (
        select(readings.c.photo, readings.c.slot, readings.c.side, readings.c.alone, photos.c.taken_at)
        .join(photos, photos.c.hash == readings.c.photo)
        .where(readings.c.vessel == job.vessel.id, readings.c.has_face)
        .order_by(photos.c.taken_at, readings.c.photo, readings.c.slot)
    )
    with farm.reading() as connection:
        return tuple(
            FaceReading(
                photo=row.photo,
                slot=row.slot,
                days=days_between(job.vessel.inoculated_at, row.taken_at),
                phase=sum(at <= row.taken_at for at in job.shaken_at),
                alone=row.alone,
                side=row.side,
            )
            for row in connection.execute(query)
        )


def _content(face: Path) -> bytes | None:
    try:
        return face.read_bytes()
    except OSError:
        return None


def _keep(farm: Farm, job: _SeriesJob, outcome: SeriesOutcome) -> bool:
    """Keep a series as read; False where the vessel has changed since it was taken up, and nothing is kept."""
    with farm.writing() as connection:
        if not mark_read(connection, job.vessel.id, job.revision, outcome.keys):
            return False
        for taken in outcome.face_readings:
            if taken.face is not None:
                replace_file(face_file(farm, taken.photo, taken.slot), taken.face)
            row = and_(readings.c.photo == taken.photo, readings.c.slot == taken.slot)
            connection.execute(update(readings).where(row).values(**reading_columns(taken.reading)))
    return True
