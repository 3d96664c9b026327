"""Readings in the farm's records: written once for each photo, read back by photo or by vessel."""

from collections.abc import Collection, Iterable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, and_, delete, func, insert, select

from farm.records.models import FaceFrame, KeptFace, KeptReading, Sign, Suspect, TakenFrom
from farm.store import Farm, adapter_of, in_chunks, mark_stale, output_folder, replace_file
from farm.store.schema import events, photos, readings, vessels

if TYPE_CHECKING:
    from vision.records import Reading

#: Condition for a reading with a kept face and a percent; one that was refused has a face only to be looked at.
FACE_WAS_READ = and_(readings.c.has_face, readings.c.status == "ok")


def face_file(farm: Farm, photo_hash: str, slot: int) -> Path:
    """Where the face of one reading is kept."""
    return farm.folder / f"faces/{photo_hash[:2]}/{photo_hash}-{slot}.face"


def keep_photo(
    farm: Farm,
    connection: Connection,
    photo: dict[str, Any],
    taken: "Iterable[Reading]",
    faces: Iterable[KeptFace | None],
) -> None:
    """Write one photo with its readings and faces, in place of what was known of it. Marks its vessels' series."""
    output_folder(farm.folder / "faces")
    before = select(readings.c.vessel).where(readings.c.photo == photo["hash"])
    mark_stale(connection, {vessel for vessel in connection.scalars(before) if vessel}, anew=True)
    connection.execute(delete(photos).where(photos.c.hash == photo["hash"]))
    connection.execute(insert(photos).values(photo))
    rows: list[dict[str, Any]] = []
    for slot, (reading, face) in enumerate(zip(taken, faces, strict=True)):
        if face is not None:
            target = face_file(farm, photo["hash"], slot)
            target.parent.mkdir(exist_ok=True)
            replace_file(target, face.content)
        facts = {
            "photo": photo["hash"],
            "slot": slot,
            "alone": _as_json(reading),
            "has_face": face is not None,
            "frame": None if face is None else asdict(face.frame),
        }
        rows.append(facts | reading_columns(reading))
    if rows:
        connection.execute(insert(readings), rows)
    mark_stale(connection, {row["vessel"] for row in rows if row["vessel"]})


#: Of a reading as made alone only its percent: a list goes through thousands of them.
_COLUMNS = (
    *(column for column in readings.c if column is not readings.c.alone),
    readings.c.alone["percent"].as_float().label("percent_alone"),
)


def reading_columns(reading: "Reading") -> dict[str, Any]:
    """The columns of a reading that its series may change."""
    facts = asdict(reading)
    return facts | {
        "face_box": None if reading.face_box is None else [int(edge) for edge in reading.face_box],
        "suspects": [_as_json(suspect) for suspect in reading.suspects],
        "signs": [_as_json(sign) for sign in reading.signs],
        "flags": list(reading.flags),
    }


def list_readings(
    farm: Farm,
    *,
    vessel: str | None = None,
    vessels: Collection[str] | None = None,
    photo_hashes: Collection[str] | None = None,
) -> list[KeptReading]:
    """Readings by time, then photo, then slot: of one vessel or some, of some photos, or (all None) all."""
    query = (
        select(*_COLUMNS, photos.c.path, photos.c.taken_at, photos.c.taken_from)
        .join(photos, photos.c.hash == readings.c.photo)
        .order_by(photos.c.taken_at, readings.c.photo, readings.c.slot)
    )
    wanted = [vessel] if vessel is not None else vessels
    with farm.reading() as connection:
        found = [
            _kept(row)
            for photo in in_chunks(readings.c.photo, photo_hashes)
            for owner in in_chunks(readings.c.vessel, wanted)
            for row in connection.execute(query.where(photo, owner))
        ]
    return sorted(found, key=lambda one: (one.taken_at, one.photo_hash, one.slot))


def known_photos(farm: Farm, hashes: Collection[str]) -> set[str]:
    """Those of the hashes whose photos are in the records."""
    with farm.reading() as connection:
        return {
            photo_hash
            for chosen in in_chunks(photos.c.hash, hashes)
            for photo_hash in connection.scalars(select(photos.c.hash).where(chosen))
        }


def _kept(row: Any) -> KeptReading:  # noqa: ANN401 - a row of _COLUMNS and of its photo
    taken_from: TakenFrom = row.taken_from
    return KeptReading(
        photo=row.path,
        photo_hash=row.photo,
        slot=row.slot,
        taken_at=row.taken_at,
        taken_from=taken_from,
        vessel=row.vessel,
        kind=row.kind,
        status=row.status,
        reason=row.reason,
        percent=row.percent,
        percent_low=row.percent_low,
        percent_high=row.percent_high,
        percent_alone=row.percent_alone,
        hidden_percent=row.hidden_percent,
        mm_per_px=row.mm_per_px,
        face_box=None if row.face_box is None else tuple(row.face_box),
        suspects=tuple(Suspect(**{**mark, "box": tuple(mark["box"])}) for mark in row.suspects),
        flags=tuple(row.flags),
        has_face=row.has_face,
        frame=_frame(row.frame),
        side=row.side,
        steep_percent=row.steep_percent,
        signs=tuple(Sign(**{**sign, "box": tuple(sign["box"])}) for sign in row.signs),
    )


def _frame(kept: dict[str, Any] | None) -> FaceFrame | None:
    if kept is None:
        return None
    return FaceFrame(tuple(map(tuple, kept["to_photo"])), kept["px_per_mm"])


def _as_json(record: Any) -> dict[str, Any]:  # noqa: ANN401 - any frozen record of vision
    facts: dict[str, Any] = adapter_of(record.__class__).dump_python(record, mode="json")
    return facts


def records_mark(farm: Farm) -> str:
    """A short text that changes when photos, vessels or events are added; what was computed from them is then stale."""
    counts = [select(func.count()).select_from(table).scalar_subquery() for table in (photos, vessels, events)]
    stale = select(func.count()).where(vessels.c.series_stale).scalar_subquery()
    newest = select(func.max(photos.c.measured_at)).scalar_subquery()
    with farm.reading() as connection:
        return "/".join(map(str, connection.execute(select(*counts, stale, newest)).one()))
