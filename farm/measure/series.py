"""The second pass: each vessel's photos read in order of time, each with what the earlier ones have shown."""

from collections.abc import Callable, Collection, Mapping, Sequence, Set
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from sqlalchemy import and_, select, update

from calibration import Side, Species
from farm.measure.batch_mates import bare_mates
from farm.measure.kept_series import KeptSeries
from farm.measure.photo_jobs import SPEC_COLUMNS
from farm.measure.series_task import (
    MARK_EVERY,
    FaceReading,
    SeriesOutcome,
    SeriesTask,
    Stretch,
    read_series_task,
    series_keys,
    unread_series,
)
from farm.measure.vision_functions import Vision, load_vision
from farm.records import FACE_WAS_READ, face_file, list_events, list_vessels, reading_columns
from farm.records.models import Vessel
from farm.store import Farm, days_between, in_chunks, mark_read, mark_stale, replace_file
from farm.store.schema import photos, readings, vessels
from farm.workers import Work, run_jobs

if TYPE_CHECKING:
    from vision.records import VesselSpec

#: How often the series of a vessel are tried while other processes change it.
_ROUNDS = 2


@dataclass(frozen=True)
class _Stale:
    revision: int
    read: dict[str, str]


@dataclass(frozen=True)
class _SeriesJob:
    """A vessel at a revision; its readings are fetched when it is handed to a worker.

    read: by side the key of the photos that have been read. mates: bare faces of its batch, where it has none of its
    own.
    """

    vessel: Vessel
    shaken_at: tuple[datetime, ...]
    revision: int
    read: dict[str, str]
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

    New photos at the end of a series are read with what was kept after the last one, whatever the number of those
    before; a photo that arrives late, a shake or a new size has the series read from its first photo on. A vessel that
    another process changes meanwhile is read once more, and then left to that process.
    """
    n_read = 0
    for _ in range(_ROUNDS):
        stale = _stale(farm)
        without = stale.keys() - _with_faces(farm, stale)
        for job in _jobs(farm, without):  # nothing is to be read of them, and no vision is loaded for that
            n_read += _keep(farm, job, SeriesOutcome((), {}))
        jobs = _jobs(farm, stale.keys() - without, with_mates=True)
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


def _jobs(farm: Farm, ids: Set[str], *, with_mates: bool = False) -> list[_SeriesJob]:
    """The jobs of stale vessels. with_mates: with bare faces of their batches, and the vessels that these now help."""
    if not ids:
        return []
    mates = bare_mates(farm, list_vessels(farm, ids=ids)) if with_mates else {}
    if helped := mates.keys() - ids:
        with farm.writing() as connection:
            mark_stale(connection, helped)
    stale = {vessel: one for vessel, one in _stale(farm).items() if vessel in ids | helped}
    shaken: dict[str, list[datetime]] = {}
    for event in list_events(farm, stale):
        if event.event == "shaken":
            shaken.setdefault(event.vessel, []).append(event.at)
    return [
        _SeriesJob(
            vessel,
            tuple(shaken.get(vessel.id, ())),
            stale[vessel.id].revision,
            stale[vessel.id].read,
            mates.get(vessel.id, ()),
        )
        for vessel in list_vessels(farm, ids=stale)
    ]


def _stale(farm: Farm) -> dict[str, _Stale]:
    """The vessels whose series are stale, by id."""
    columns = select(vessels.c.id, vessels.c.revision, vessels.c.chapters).where(vessels.c.series_stale)
    with farm.reading() as connection:
        return {row.id: _Stale(row.revision, _keys_by_side(row.chapters)) for row in connection.execute(columns)}


def _with_faces(farm: Farm, ids: Collection[str]) -> set[str]:
    """Those of the vessels of which some face is kept that was read."""
    found: set[str] = set()
    with farm.reading() as connection:
        for chosen in in_chunks(readings.c.vessel, ids):
            found |= set(connection.scalars(select(readings.c.vessel).where(chosen, FACE_WAS_READ).distinct()))
    return found


def _keys_by_side(text: str | None) -> dict[str, str]:
    """The keys in a text such as "front:KEY back:KEY"; words of an earlier version are ignored."""
    return {side: key for side, _, key in (word.partition(":") for word in (text or "").split()) if key}


def vessel_spec(vessel: Vessel, own: Mapping[str, Species] | None = None) -> "VesselSpec":
    """What a picture needs to know of the vessel; own: the farm's own rows of the species table."""
    from vision.records import VesselSpec

    return VesselSpec(**{name: getattr(vessel, name) for name in SPEC_COLUMNS}, own_species=own)


def _task(farm: Farm, job: _SeriesJob) -> SeriesTask:
    spec, face_readings = vessel_spec(job.vessel, farm.own_species), _face_readings(farm, job)
    names = [mate.name for mate in job.mates]
    stretches = [
        stretch
        for side in get_args(Side)
        if (mine := [one for one in face_readings if one.side == side])
        and (stretch := _stretch(farm, job, side, mine, series_keys(spec, mine, names))) is not None
    ]
    mates = (content for mate in job.mates if (content := _content(mate)) is not None) if stretches else ()
    return SeriesTask(spec, tuple(stretches), tuple(mates))


def _stretch(
    farm: Farm, job: _SeriesJob, side: Side, face_readings: Sequence[FaceReading], keys: Sequence[str]
) -> Stretch | None:
    """The photos of a side that are still to be read: those after the last one read, or after a mark before it, or all.

    None if there are none.
    """
    key = job.read.get(side, "")
    n_read = keys.index(key) + 1 if key in keys else 0
    if n_read == len(keys):
        return None
    kept, standing = KeptSeries(farm.folder, job.vessel.id, side), None
    n_before, before = n_read, kept.read(key) if n_read else None
    if before is None:
        # Without a key the readings were replaced: no mark is of these faces.
        n_before, before = kept.newest_mark(keys) if key else (0, None)
        standing = tuple(keys[MARK_EVERY - 1 : n_before : MARK_EVERY])
    left = face_readings[n_before:]
    faces = tuple(_content(face_file(farm, one.photo, one.slot)) for one in left)
    return Stretch(side, before, tuple(left), faces, tuple(keys[n_before:]), n_before, standing)


def _face_readings(farm: Farm, job: _SeriesJob) -> tuple[FaceReading, ...]:
    query = (
        select(readings.c.photo, readings.c.slot, readings.c.side, readings.c.alone, photos.c.taken_at)
        .join(photos, photos.c.hash == readings.c.photo)
        .where(readings.c.vessel == job.vessel.id, FACE_WAS_READ)
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
    read: dict[str, str] = {side: key for side, key in job.read.items() if side not in outcome.failed}
    read |= {side: one.key for side, one in outcome.sides.items()}
    with farm.writing() as connection:
        if not mark_read(connection, job.vessel.id, job.revision, read):
            return False
        for taken in outcome.face_readings:
            if taken.face is not None:
                replace_file(face_file(farm, taken.photo, taken.slot), taken.face)
            row = and_(readings.c.photo == taken.photo, readings.c.slot == taken.slot)
            connection.execute(update(readings).where(row).values(**reading_columns(taken.reading)))
        for side, one in outcome.sides.items():
            KeptSeries(farm.folder, job.vessel.id, side).write(one)
    for was, key in job.read.items():
        if read.get(was) != key:
            KeptSeries(farm.folder, job.vessel.id, was).forget(key)
    return True
