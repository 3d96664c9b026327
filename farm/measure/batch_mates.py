"""Photos of the same batch that show the bare substrate, for a vessel that was first photographed too late."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import ColumnElement, Select, and_, func, select

from farm.records import FACE_WAS_READ, face_file
from farm.records.models import Vessel
from farm.store import Farm, in_chunks
from farm.store.schema import photos, readings, vessels

#: Most faces used for one vessel: a few are enough to know a batch's bare substrate.
_MOST_MATES = 5


@dataclass(frozen=True)
class _First:
    """The first face of one vessel of a batch. alike: what must be the same for its substrate to look the same."""

    vessel: str
    alike: tuple[str, str, str | None]
    percent: float
    face: Path


def bare_mates(farm: Farm, stale: Collection[Vessel]) -> dict[str, tuple[Path, ...]]:
    """For each vessel without a bare photo of its own: bare first faces of its batch, same kind and substrate.

    Of the stale vessels, and of those that a bare face among the stale ones now helps, so that what is read does not
    depend on which photo came first. A vessel for which there is no such face is left out.
    """
    from vision.days import BARE_FIRST_PERCENT

    batches = {vessel.batch for vessel in stale if vessel.batch}
    if not batches:
        return {}
    touched = {vessel.id for vessel in stale}
    helpers: dict[tuple[str, str, str | None], list[_First]] = {}
    late: list[_First] = []
    for first in _first_faces(farm, batches):
        if first.percent > BARE_FIRST_PERCENT:
            late.append(first)
        else:
            helpers.setdefault(first.alike, []).append(first)
    return {
        one.vessel: tuple(mate.face for mate in mates[:_MOST_MATES])
        for one in late
        if (mates := helpers.get(one.alike)) and (one.vessel in touched or _any_of(mates, touched))
    }


def _any_of(mates: Iterable[_First], touched: Collection[str]) -> bool:
    return any(mate.vessel in touched for mate in mates)


def _first_faces(farm: Farm, batches: Collection[str]) -> list[_First]:
    """The first face of each vessel of the batches, by vessel; of several at one moment the first by content."""
    columns = select(vessels.c.id, vessels.c.batch, vessels.c.kind, vessels.c.substrate)
    found: dict[str, _First] = {}
    with farm.reading() as connection:
        rows = connection.execute(columns.where(vessels.c.batch.in_(sorted(batches))))
        alike = {row.id: (row.batch, row.kind, row.substrate) for row in rows}
        # By vessel, so that the index finds them: a farm may have hundreds of thousands of readings of other batches.
        for chosen in in_chunks(readings.c.vessel, alike):
            for row in connection.execute(_first_of(chosen)):
                percent = _percent(row.alone)
                if percent is not None and row.vessel not in found:
                    face = face_file(farm, row.photo, row.slot)
                    found[row.vessel] = _First(row.vessel, alike[row.vessel], percent, face)
    return list(found.values())


def _first_of(chosen: ColumnElement[bool]) -> Select[tuple[str, str, int, dict[str, object]]]:
    """The rows of the earliest faces of some vessels, by vessel."""
    mine = and_(chosen, FACE_WAS_READ, readings.c.side == "front")
    earliest = (
        select(readings.c.vessel, func.min(photos.c.taken_at).label("at"))
        .join(photos, photos.c.hash == readings.c.photo)
        .where(mine)
        .group_by(readings.c.vessel)
        .subquery()
    )
    return (
        select(readings.c.vessel, readings.c.photo, readings.c.slot, readings.c.alone)
        .join(photos, photos.c.hash == readings.c.photo)
        .join(earliest, earliest.c.vessel == readings.c.vessel)
        .where(mine, photos.c.taken_at == earliest.c.at)
        .order_by(readings.c.vessel, readings.c.photo, readings.c.slot)
    )


def _percent(alone: Mapping[str, object]) -> float | None:
    percent = alone.get("percent")
    return float(percent) if isinstance(percent, int | float) else None
