"""Which photos to measure, what goes with each to a worker, and what the worker does."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import select

from calibration import CameraProfile, Kind, back_label, vessel_and_side
from farm.measure.photos import FoundPhoto, ids_in_names, owner_of
from farm.measure.vision_functions import PhotoResult, Vision, failed_result, measure_one, unread_result
from farm.records import known_photos, list_readings, load_profiles
from farm.store import Farm
from farm.store.schema import vessels
from farm.workers import Shared

if TYPE_CHECKING:
    from vision.records import PhotoContext

#: left, top, width, height in pixels of the upright photo.
Region = tuple[int, int, int, int]
_GONE = "it is not there any more, or the machine that should measure it does not see it"
_CHANGED = "it changed while it was read, as while it is being copied; left for the next run"
#: The flag of a reading whose vessel no label tells.
_NO_LABEL = "no_label"
#: What a picture needs to know of a vessel, as the records and VesselSpec call it.
SPEC_COLUMNS = (
    "id",
    "kind",
    "species",
    "substrate",
    "face_width_mm",
    "face_height_mm",
    "diameter_mm",
    "label_size",
    "label_place",
)


@dataclass(frozen=True)
class PhotoJob:
    """A photo to measure. owner: the vessel that its file or folder names; others: those that further files of the same
    picture name.
    """

    found: FoundPhoto
    photo_hash: str
    owner: str | None
    others: tuple[str, ...] = ()


@dataclass(frozen=True)
class KnownFacts:
    """What all photos of a run are measured with. inoculated: by vessel."""

    context: "PhotoContext"
    profiles: Mapping[str, CameraProfile]
    inoculated: Mapping[str, datetime]


@dataclass(frozen=True)
class PhotoTask:
    """What goes to a worker. content: the file's, None where the worker reads it."""

    path: Path
    photo_hash: str
    owner: str | None
    content: bytes | None = None
    others: tuple[str, ...] = ()


def known_facts(farm: Farm, kind: Kind | None, regions: Mapping[str, Region]) -> KnownFacts:
    """What the farm knows. kind: of unlabelled photos of no known vessel; regions: of a fixed camera."""
    from vision.records import PhotoContext, VesselSpec

    columns = [vessels.c[name] for name in SPEC_COLUMNS]
    specs: dict[str, VesselSpec] = {}
    inoculated: dict[str, datetime] = {}
    own = farm.own_species
    with farm.reading() as connection:
        for at, *facts in connection.execute(select(vessels.c.inoculated_at, *columns).order_by(vessels.c.id)):
            spec = VesselSpec(**dict(zip(SPEC_COLUMNS, facts, strict=True)), own_species=own)
            specs[spec.id], inoculated[spec.id] = spec, at
    return KnownFacts(PhotoContext(vessels=specs, regions=dict(regions), kind=kind), load_profiles(farm), inoculated)


def photo_jobs(
    farm: Farm, found: Sequence[FoundPhoto], hashes: Mapping[Path, str], known: KnownFacts, *, again: bool
) -> list[PhotoJob]:
    """The photos to measure, each content once. again: all of them.

    A picture without a label that lies in the folders of several vessels is read for each of them.
    """
    owners: dict[str, dict[str, None]] = {}
    for path, owner in file_owners(found, known).items():
        if path in hashes and owner is not None:
            owners.setdefault(hashes[path], {})[owner] = None
    read_for = _read_for(farm, set(hashes.values()))
    more = {photo_hash for photo_hash, mine in read_for.items() if owners.get(photo_hash, {}).keys() - mine}
    settled = set() if again else _settled(farm, found, hashes, known.context.vessels.keys()) - more
    jobs: dict[str, PhotoJob] = {}
    for photo in found:
        photo_hash = hashes.get(photo.path)
        if photo_hash is not None and photo_hash not in settled and photo_hash not in jobs:
            first, *others = [*dict.fromkeys([*owners.get(photo_hash, ()), *read_for.get(photo_hash, ())])] or [None]
            jobs[photo_hash] = PhotoJob(photo, photo_hash, first, tuple(filter(None, others)))
    return list(jobs.values())


def file_owners(found: Sequence[FoundPhoto], known: KnownFacts) -> dict[Path, str | None]:
    """The vessel that each file or its folder names, as a label says it; None for none."""
    ids = known.context.vessels
    names = ids_in_names([*ids, *filter(None, map(back_label, ids))])
    return {photo.path: owner_of(photo.names, names) for photo in found}


def _read_for(farm: Farm, hashes: Collection[str]) -> dict[str, set[str]]:
    """Of known photos that were read for the vessel that their folder or file named: for which, as a label says it."""
    found: dict[str, set[str]] = {}
    for reading in list_readings(farm, photo_hashes=known_photos(farm, hashes)):
        if reading.vessel is not None and _NO_LABEL in reading.flags:
            label = back_label(reading.vessel) if reading.side == "back" else reading.vessel
            found.setdefault(reading.photo_hash, set()).add(label or reading.vessel)
    return found


def _settled(farm: Farm, found: Sequence[FoundPhoto], hashes: Mapping[Path, str], ids: Collection[str]) -> set[str]:
    """Known photos that need not be measured again: no vessel added since can own their unidentified readings."""
    known = known_photos(farm, set(hashes.values()))
    open_questions: dict[str, list[str | None]] = {}
    for reading in list_readings(farm, photo_hashes=known):
        if reading.status == "unidentified" or reading.vessel is None:
            open_questions.setdefault(reading.photo_hash, []).append(reading.vessel)
    names = {hashes[photo.path]: photo.names for photo in found if photo.path in hashes}
    in_names = ids_in_names(ids)
    answered = {
        photo_hash
        for photo_hash, vessels in open_questions.items()
        if any(vessel is not None and vessel_and_side(vessel, ids)[0] in ids for vessel in vessels)
        or (None in vessels and owner_of(names[photo_hash], in_names) is not None)
    }
    return known - answered


def photo_task(job: PhotoJob, *, send: bool) -> PhotoTask:
    """What a worker needs of a photo. send: its content too, unless the file is too large to be one."""
    from vision.pixels import MAX_FILE_BYTES

    path = job.found.path.absolute()
    is_sent = send and path.is_file() and path.stat().st_size <= MAX_FILE_BYTES
    content = path.read_bytes() if is_sent else None
    return PhotoTask(path, job.photo_hash, job.owner, content, job.others)


def measure_sent(vision: Vision, shared: Shared[KnownFacts], task: PhotoTask) -> PhotoResult:
    """Measure a photo in a worker; the same however it came there.

    The pixels come from the bytes whose hash is kept: a file that is still being copied is left for the next run.
    """
    from vision.pixels import PictureError, read_photo

    known = shared.value
    context = replace(known.context, owner=task.owner)
    content = task.content
    if content is None:
        if not task.path.is_file():
            return failed_result(_GONE)
        try:
            content = read_photo(task.path)
        except PictureError as error:
            return unread_result(str(error), context)
    if sha256(content).hexdigest() != task.photo_hash:
        return failed_result(_CHANGED)
    result = measure_one(vision, content, context, known.profiles)
    for other in task.others:
        also = measure_one(vision, content, replace(context, owner=other), known.profiles)
        result = _with_readings_for(result, also, vessel_and_side(other, context.vessels)[0])
    return result


def _with_readings_for(result: PhotoResult, also: PhotoResult, vessel: str) -> PhotoResult:
    """A photo's result and what was read in it for one more vessel, by its folder's name and not by a label."""
    more = [
        (reading, face)
        for reading, face in zip(also.readings, also.faces, strict=True)
        if reading.vessel == vessel and _NO_LABEL in reading.flags and not also.fault
    ]
    return replace(
        result,
        readings=(*result.readings, *(reading for reading, _ in more)),
        faces=(*result.faces, *(face for _, face in more)),
    )


def lost_photo(_: PhotoJob) -> PhotoResult:
    """The result of a photo whose worker was killed twice."""
    return failed_result(
        "the process that measured it was killed twice, as when memory runs out; not tried a third time"
    )
