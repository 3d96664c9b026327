"""A run: photos in, readings kept. First each photo alone on a worker, then each vessel's series."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from pathlib import Path

from calibration import Kind, back_label
from farm.measure.photo_jobs import (
    KnownFacts,
    PhotoJob,
    Region,
    file_owners,
    known_facts,
    lost_photo,
    measure_sent,
    photo_jobs,
    photo_task,
)
from farm.measure.photos import FoundPhoto, content_hash, find_photos, is_picture, taken_when
from farm.measure.series import read_stale_series
from farm.measure.vision_functions import PhotoResult, Vision, load_vision
from farm.records import TAKEN_BEFORE_INOCULATION, TAKEN_IN_FUTURE, RegionRow, keep_photo, list_readings, read_table
from farm.records.models import KeptReading
from farm.store import CLOCK_SLACK, Farm, now, path_as_kept, path_as_text, program_version
from farm.store.errors import NothingToMeasureError
from farm.workers import Shared, Work, interrupts_held, run_jobs

_PHOTOS_A_WRITE = 8

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class MeasuredPhoto:
    """One file of a run with the readings that the farm has of it. is_new: it was measured in this run."""

    found: FoundPhoto
    is_new: bool
    readings: tuple[KeptReading, ...]

    @property
    def is_read(self) -> bool:
        """Whether at least one vessel in it got a percent."""
        return any(reading.status == "ok" for reading in self.readings)


@dataclass(frozen=True)
class RunOptions:
    """How to measure. kind: for unlabelled photos of no known vessel. regions: fixed camera, by vessel id.

    again: measure also what is known. workers: processes. executor: in place of own workers. send_photos: its workers
    do not see the photos' folder and get them as bytes.
    """

    kind: Kind | None = None
    regions: Mapping[str, Region] = field(default_factory=dict)
    again: bool = False
    workers: int = 1
    executor: Executor | None = None
    send_photos: bool = False
    on_progress: Progress | None = None


def measure_paths(
    farm: Farm, paths: Sequence[Path], options: RunOptions | None = None, *, vision: Vision | None = None
) -> list[MeasuredPhoto]:
    """Measure every picture under the paths that the farm does not know yet, and give the readings of all.

    The result does not depend on the number of workers or the order of photos. A stop keeps what was measured.
    Raises NothingToMeasureError.
    """
    from vision.pixels import PICTURE_SUFFIXES

    options = options or RunOptions()
    vision = vision or load_vision()
    found = find_photos(paths, PICTURE_SUFFIXES)
    strangers = {one.path: _no_picture(one.path) for one in found if not is_picture(one.path, PICTURE_SUFFIXES)}
    if len(strangers) == len(found):
        raise NothingToMeasureError("; ".join(f"{path}: {reason}" for path, reason in strangers.items()))
    hashes, unreadable = _hashes([one for one in found if one.path not in strangers], _stage_progress(options, "files"))
    known = known_facts(farm, options.kind, options.regions)
    jobs = photo_jobs(farm, found, hashes, known, again=options.again)
    faults = _measure(farm, jobs, known, options, vision)
    progress = _stage_progress(options, "series")
    read_stale_series(farm, workers=options.workers, executor=options.executor, vision=vision, on_done=progress)
    owners = file_owners(found, known)
    fresh = {job.photo_hash for job in jobs}
    return _outcome(farm, found, hashes, fresh, strangers | unreadable | faults, owners)


def read_layout(source: Path) -> dict[str, Region]:
    """Regions of a fixed camera from a CSV: vessel,left,top,width,height in pixels. Raises InputFileError."""
    rows = (line.row for line in read_table(source, RegionRow))
    return {row.vessel: (row.left, row.top, row.width, row.height) for row in rows}


def _hashes(
    found: Sequence[FoundPhoto], progress: Callable[[int, int], None] | None
) -> tuple[dict[Path, str], dict[Path, str]]:
    """Hash of each file's content; and of those that cannot be opened, why."""
    from vision.pixels import MAX_FILE_BYTES

    hashes: dict[Path, str] = {}
    unreadable: dict[Path, str] = {}
    for n_done, photo in enumerate(found, start=1):
        if progress is not None:
            progress(n_done, len(found))
        try:
            size = photo.path.stat().st_size
            if size > MAX_FILE_BYTES and photo.path.is_file():  # it is not read to the end only to be refused
                unreadable[photo.path] = _too_large(size, MAX_FILE_BYTES)
            else:
                hashes[photo.path] = content_hash(photo.path)
        except OSError as error:
            unreadable[photo.path] = f"cannot be opened: {error.strerror}"
    return hashes, unreadable


def _too_large(size_bytes: int, most_bytes: int) -> str:
    return f"too large: a file of {size_bytes / 1e6:,.0f} MB; at most {most_bytes / 1e6:.0f} MB, not kept"


def _no_picture(path: Path) -> str:
    table = "; a table of vessels goes to --vessels, or into a farm by `spawnrun vessel import`"
    return f"not a photo by its ending, not kept{table if path.suffix.lower() == '.csv' else ''}"


def _measure(
    farm: Farm, jobs: Sequence[PhotoJob], known: KnownFacts, options: RunOptions, vision: Vision
) -> dict[Path, str]:
    """Run the jobs and keep their results; photos that the program failed on are not kept but given, with why."""
    faults: dict[Path, str] = {}
    waiting: list[tuple[PhotoJob, PhotoResult]] = []
    progress = _stage_progress(options, "photos")
    if progress is not None and jobs:
        progress(0, len(jobs))
    task = partial(photo_task, send=options.send_photos and options.executor is not None)
    work = Work(partial(measure_sent, vision, Shared(known)), prepare=task, lost=lost_photo)
    results = run_jobs(work, jobs, workers=options.workers, executor=options.executor)
    try:
        with closing(results):
            for n_done, (job, result) in enumerate(results, start=1):
                if result.fault:
                    faults[job.found.path] = result.readings[0].reason
                else:
                    waiting.append((job, result))
                if len(waiting) >= _PHOTOS_A_WRITE:
                    _keep(farm, waiting, known)
                    waiting.clear()
                if progress is not None:
                    progress(n_done, len(jobs))
    finally:
        with interrupts_held():  # however often Ctrl-C is pressed
            _keep(farm, waiting, known)
    return faults


def _keep(farm: Farm, results: Sequence[tuple[PhotoJob, PhotoResult]], known: KnownFacts) -> None:
    if not results:
        return
    with farm.writing() as connection:
        for job, result in results:
            taken_at, taken_from = taken_when(job.found.path, result.camera_time, farm.zone)
            height, width = result.size_px or (None, None)
            photo = {
                "hash": job.photo_hash,
                "path": path_as_kept(job.found.path, farm.folder),
                "taken_at": taken_at,
                "taken_from": taken_from,
                "height_px": height,
                "width_px": width,
                "measured_at": now(),
                "program": program_version(),
            }
            marked = [
                replace(one, flags=(*one.flags, *_clock_flags(known.inoculated.get(one.vessel or ""), taken_at)))
                for one in result.readings
            ]
            keep_photo(farm, connection, photo, marked, result.faces)


def _clock_flags(inoculated_at: datetime | None, taken_at: datetime) -> tuple[str, ...]:
    in_future = taken_at - now() > CLOCK_SLACK
    too_early = inoculated_at is not None and taken_at < inoculated_at
    return (TAKEN_IN_FUTURE,) * in_future + (TAKEN_BEFORE_INOCULATION,) * too_early


def _stage_progress(options: RunOptions, stage: str) -> Callable[[int, int], None] | None:
    return None if options.on_progress is None else partial(options.on_progress, stage)


def _outcome(
    farm: Farm,
    found: Sequence[FoundPhoto],
    hashes: Mapping[Path, str],
    fresh: set[str],
    failed: Mapping[Path, str],
    owners: Mapping[Path, str | None],
) -> list[MeasuredPhoto]:
    """owners: the vessel that each file names; of a picture that was read for several it shows its own alone."""
    kept: dict[str, list[KeptReading]] = {}
    for reading in list_readings(farm, photo_hashes=set(hashes.values())):
        kept.setdefault(reading.photo_hash, []).append(reading)
    outcome = []
    for photo in found:
        photo_hash = hashes.get(photo.path, "")
        if photo.path in failed:
            readings: tuple[KeptReading, ...] = (_unread(photo, failed[photo.path], farm),)
        else:
            shown_path, mine = path_as_text(photo.path), kept.get(photo_hash, ())
            own = [one for one in mine if owners[photo.path] in (one.vessel, back_label(one.vessel or ""))]
            readings = tuple(replace(reading, photo=shown_path) for reading in own or mine)
        outcome.append(MeasuredPhoto(photo, photo_hash in fresh, readings))
    return outcome


def _unread(photo: FoundPhoto, reason: str, farm: Farm) -> KeptReading:
    """The reading shown for a file of which nothing could be kept."""
    try:
        taken_at, taken_from = taken_when(photo.path, None, farm.zone)
    except OSError:
        taken_at, taken_from = now(), "file time"
    shown_path = path_as_text(photo.path)
    return KeptReading(shown_path, "", 0, taken_at, taken_from, status="unusable", reason=reason)
