"""The batch: photos in, readings kept. Each photo alone on a worker, then each vessel's series."""

from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from calibration import CameraProfile, Kind, back_label, vessel_and_side
from farm.cameras import load_profiles
from farm.clock import days_between, now
from farm.errors import NothingToMeasureError
from farm.eyes import Eyes, PhotoLook, look_at, open_eyes
from farm.flags import TAKEN_BEFORE_INOCULATION, TAKEN_IN_FUTURE
from farm.jobs import run_jobs
from farm.photos import FoundPhoto, content_hash, find_photos, is_picture, owner_of, taken_when
from farm.readings import keep_photo, known_photos, list_readings
from farm.records import KeptReading
from farm.series import read_stale_series, vessel_spec
from farm.store import Farm, path_as_kept
from farm.tables import RegionRow, read_table
from farm.vessels import list_vessels

if TYPE_CHECKING:
    from vision import PhotoContext

_PHOTOS_A_WRITE = 8
#: A camera's clock may run ahead by this before it is called wrong, days.
_CLOCK_SLACK_DAYS = 1.0

#: left, top, width, height in pixels of the upright photo.
Region = tuple[int, int, int, int]
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class MeasuredPhoto:
    """One file of a batch with the readings that the farm has of it. is_new: it was measured in this batch."""

    found: FoundPhoto
    is_new: bool
    readings: tuple[KeptReading, ...]

    @property
    def is_read(self) -> bool:
        """Whether at least one vessel in it got a percent."""
        return any(reading.status == "ok" for reading in self.readings)


@dataclass(frozen=True)
class BatchOptions:
    """How to measure. kind: for unlabelled photos of no known vessel. regions: fixed camera, by vessel id.

    again: measure also what is known. workers: processes. executor: in place of own workers.
    """

    kind: Kind | None = None
    regions: Mapping[str, Region] = field(default_factory=dict)
    again: bool = False
    workers: int = 1
    executor: Executor | None = None
    on_progress: Progress | None = None


@dataclass(frozen=True)
class _PhotoJob:
    found: FoundPhoto
    photo_hash: str
    context: "PhotoContext"
    profiles: Mapping[str, CameraProfile]


def measure_paths(
    farm: Farm, paths: Sequence[Path], options: BatchOptions | None = None, *, eyes: Eyes | None = None
) -> list[MeasuredPhoto]:
    """Measure every picture under the paths that the farm does not know yet, and give the readings of all.

    The same whatever the number of workers and the order of the photos. What was measured before a stop is kept.
    Raises NothingToMeasureError.
    """
    from vision import PICTURE_SUFFIXES

    options = options or BatchOptions()
    eyes = eyes or open_eyes()
    found = find_photos(paths, PICTURE_SUFFIXES)
    strangers = {one.path: _no_picture(one.path) for one in found if not is_picture(one.path, PICTURE_SUFFIXES)}
    if len(strangers) == len(found):
        raise NothingToMeasureError("; ".join(f"{path}: {reason}" for path, reason in strangers.items()))
    hashes, unreadable = _hashes([one for one in found if one.path not in strangers])
    jobs = _jobs(farm, found, hashes, options)
    faults = _measure(farm, jobs, options, eyes)
    read_stale_series(
        farm, workers=options.workers, executor=options.executor, eyes=eyes, on_done=_told(options, "series")
    )
    return _outcome(farm, found, hashes, {job.photo_hash for job in jobs}, strangers | unreadable | faults)


def read_layout(source: Path) -> dict[str, Region]:
    """Regions of a fixed camera from a CSV: vessel,left,top,width,height in pixels. Raises InputFileError."""
    rows = (line.row for line in read_table(source, RegionRow))
    return {row.vessel: (row.left, row.top, row.width, row.height) for row in rows}


def _hashes(found: Sequence[FoundPhoto]) -> tuple[dict[Path, str], dict[Path, str]]:
    """Hash of each file's content; and of those that cannot be opened, why."""
    hashes: dict[Path, str] = {}
    unreadable: dict[Path, str] = {}
    for photo in found:
        try:
            hashes[photo.path] = content_hash(photo.path)
        except OSError as error:
            unreadable[photo.path] = f"cannot be opened: {error.strerror}"
    return hashes, unreadable


def _no_picture(path: Path) -> str:
    table = "; a table of vessels goes to --vessels, or into a farm by `spawnrun vessel import`"
    return f"not a photo by its ending, not kept{table if path.suffix.lower() == '.csv' else ''}"


def _jobs(
    farm: Farm, found: Sequence[FoundPhoto], hashes: Mapping[Path, str], options: BatchOptions
) -> list[_PhotoJob]:
    from vision import PhotoContext

    specs = {vessel.id: vessel_spec(vessel, farm.own_species) for vessel in list_vessels(farm)}
    everyone = PhotoContext(vessels=specs, regions=dict(options.regions), kind=options.kind)
    settled = set() if options.again else _settled(farm, found, hashes, specs.keys())
    profiles = load_profiles(farm)
    names = {*specs, *filter(None, map(back_label, specs))}
    jobs: dict[str, _PhotoJob] = {}
    for photo in found:
        photo_hash = hashes.get(photo.path)
        if photo_hash is not None and photo_hash not in settled and photo_hash not in jobs:
            context = replace(everyone, owner=owner_of(photo.names, names))
            jobs[photo_hash] = _PhotoJob(photo, photo_hash, context, profiles)
    return list(jobs.values())


def _settled(farm: Farm, found: Sequence[FoundPhoto], hashes: Mapping[Path, str], ids: Collection[str]) -> set[str]:
    """Photos that need no second measuring: known, and whose unidentified readings still belong to nobody we know."""
    known = set(known_photos(farm)) & set(hashes.values())
    open_questions: dict[str, list[str | None]] = {}
    for reading in list_readings(farm, photo_hashes=known):
        if reading.status == "unidentified":
            open_questions.setdefault(reading.photo_hash, []).append(reading.vessel)
    names = {hashes[photo.path]: photo.names for photo in found if photo.path in hashes}
    answered = {
        photo_hash
        for photo_hash, said in open_questions.items()
        if any(vessel is not None and vessel_and_side(vessel, ids)[0] in ids for vessel in said)
        or (None in said and owner_of(names[photo_hash], ids) is not None)
    }
    return known - answered


def _measure(farm: Farm, jobs: Sequence[_PhotoJob], options: BatchOptions, eyes: Eyes) -> dict[Path, str]:
    """Run the jobs and keep their results; the photos on which the program itself failed are not kept but told."""
    faults: dict[Path, str] = {}
    waiting: list[tuple[_PhotoJob, PhotoLook]] = []
    told = _told(options, "photos")
    if told is not None and jobs:
        told(0, len(jobs))
    results = run_jobs(partial(_look, eyes), jobs, workers=options.workers, executor=options.executor)
    try:
        for n_done, (job, look) in enumerate(results, start=1):
            if look.fault:
                faults[job.found.path] = look.readings[0].reason
            else:
                waiting.append((job, look))
            if len(waiting) >= _PHOTOS_A_WRITE:
                _keep(farm, waiting)
                waiting.clear()
            if told is not None:
                told(n_done, len(jobs))
    finally:
        _keep(farm, waiting)
    return faults


def _look(eyes: Eyes, job: _PhotoJob) -> PhotoLook:
    return look_at(eyes, job.found.path, job.context, job.profiles)


def _keep(farm: Farm, results: Sequence[tuple[_PhotoJob, PhotoLook]]) -> None:
    if not results:
        return
    inoculated = {vessel.id: vessel.inoculated_at for vessel in list_vessels(farm)}
    with farm.writing() as connection:
        for job, look in results:
            taken_at, taken_from = taken_when(job.found.path, look.camera_time, farm.zone)
            height, width = look.size_px or (None, None)
            photo = {
                "hash": job.photo_hash,
                "path": path_as_kept(job.found.path, farm.folder),
                "taken_at": taken_at,
                "taken_from": taken_from,
                "height_px": height,
                "width_px": width,
                "measured_at": now(),
                "program": version("spawnrun"),
            }
            marked = [
                replace(one, flags=(*one.flags, *_clock_flags(inoculated.get(one.vessel or ""), taken_at)))
                for one in look.readings
            ]
            keep_photo(farm, connection, photo, marked, look.faces)


def _clock_flags(inoculated_at: datetime | None, taken_at: datetime) -> tuple[str, ...]:
    in_future = days_between(now(), taken_at) > _CLOCK_SLACK_DAYS
    too_early = inoculated_at is not None and taken_at < inoculated_at
    return (TAKEN_IN_FUTURE,) * in_future + (TAKEN_BEFORE_INOCULATION,) * too_early


def _told(options: BatchOptions, stage: str) -> Callable[[int, int], None] | None:
    return None if options.on_progress is None else partial(options.on_progress, stage)


def _outcome(
    farm: Farm, found: Sequence[FoundPhoto], hashes: Mapping[Path, str], fresh: set[str], failed: Mapping[Path, str]
) -> list[MeasuredPhoto]:
    kept: dict[str, list[KeptReading]] = {}
    for reading in list_readings(farm, photo_hashes=set(hashes.values())):
        kept.setdefault(reading.photo_hash, []).append(reading)
    outcome = []
    for photo in found:
        photo_hash = hashes.get(photo.path, "")
        if photo.path in failed:
            readings: tuple[KeptReading, ...] = (_unread(photo, failed[photo.path], farm),)
        else:
            said = photo.path.as_posix()
            readings = tuple(replace(reading, photo=said) for reading in kept.get(photo_hash, ()))
        outcome.append(MeasuredPhoto(photo, photo_hash in fresh, readings))
    return outcome


def _unread(photo: FoundPhoto, reason: str, farm: Farm) -> KeptReading:
    """The reading that stands for a file of which nothing could be kept."""
    try:
        taken_at, taken_from = taken_when(photo.path, None, farm.zone)
    except OSError:
        taken_at, taken_from = now(), "file time"
    said = photo.path.as_posix()
    return KeptReading(said, "", 0, taken_at, taken_from, status="unusable", reason=reason)
