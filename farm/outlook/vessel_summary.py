"""A summary of a vessel's readings, kept beside the vessel, so that a list of thousands need not read them all again.

A summary holds as long as the vessel's revision (its count of changes); it is made of all its readings, whatever moment
the farm's now is.
"""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, select, update

from farm.outlook.seen import Seen, what_is_seen
from farm.outlook.vessel_readings import VesselReadings
from farm.records.models import KeptReading, Vessel
from farm.store import Farm, adapter_of
from farm.store.errors import SpawnrunError
from farm.store.schema import vessels

if TYPE_CHECKING:
    from growth.data import Series

#: Raise it when the same readings give another summary: kept summaries are then made again.
_VERSION = 6


@dataclass(frozen=True)
class Summary:
    """digest: of all that enters the vessel's forecast but the room's temperature and the moment.

    newest_at: of its readings, None without any. n_faces, n_readings: as read, and with front and back made one;
    last: the newest of these. seen: the suspects and signs on them. refused: the newest photo, if it bore no percent.
    """

    digest: str
    newest_at: datetime | None
    n_faces: int
    n_readings: int
    last: KeptReading | None
    seen: Seen
    refused: KeptReading | None


def summary_of(vessel: Vessel, known: VesselReadings, shaken_at: Sequence[datetime], series: "Series") -> Summary:
    """The summary of a vessel's usable readings. series: these as growth takes them."""
    return Summary(
        digest=digest_of(series),
        newest_at=_newest_at(known),
        n_faces=len(known.faces),
        n_readings=len(known.series),
        last=known.series[-1] if known.series else None,
        seen=what_is_seen(vessel, known.faces, shaken_at, known.without_percent),
        refused=known.refused,
    )


def _newest_at(known: VesselReadings) -> datetime | None:
    newest = known.refused or max(known.looked_at, key=lambda one: one.taken_at, default=None)
    return None if newest is None else newest.taken_at


def digest_of(series: "Series") -> str:
    """SHA-256 of a series without its temperature and its as_of_day."""
    return sha256(repr(replace(series, temperature_c=None, as_of_day=None)).encode()).hexdigest()


def kept_summaries(farm: Farm) -> tuple[dict[str, Summary], dict[str, int]]:
    """The summaries that hold, and the revisions of the vessels that have none, by id."""
    prefix, summaries = _prefix(), adapter_of(Summary)
    known: dict[str, Summary] = {}
    missing: dict[str, int] = {}
    columns = select(vessels.c.id, vessels.c.revision, vessels.c.summary)
    with farm.reading() as connection:
        rows = connection.execute(columns).all()
    for row in rows:
        if row.summary is not None and row.summary.startswith(prefix):
            with suppress(ValueError):  # damaged: it is made again
                known[row.id] = summaries.validate_json(row.summary.removeprefix(prefix))
        if row.id not in known:
            missing[row.id] = row.revision
    return known, missing


def keep_summaries(farm: Farm, made: Mapping[str, Summary], revisions: Mapping[str, int]) -> None:
    """Keep summaries of vessels that are still as they were at these revisions."""
    rows: list[dict[str, Any]] = [
        {"of": vessel, "at": revisions[vessel], "text": _prefix() + adapter_of(Summary).dump_json(one).decode()}
        for vessel, one in made.items()
    ]
    same = update(vessels).where(vessels.c.id == bindparam("of"), vessels.c.revision == bindparam("at"))
    with suppress(SpawnrunError):  # records that another process holds, or that may not be written: made again
        if rows:
            with farm.writing() as connection:
                connection.execute(same.values(summary=bindparam("text")), rows)


def _prefix() -> str:
    return f"{_VERSION} {version('spawnrun')} "
