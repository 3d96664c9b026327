"""A table of harvests that a person hands in (CSV): taken in all or nothing, and taken back."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated, ClassVar

from pydantic import Field
from sqlalchemy import Connection, insert

from farm.fruiting.harvest_doubts import harvest_doubt
from farm.fruiting.harvests import (
    IF_SURE,
    MOST_FLUSHES,
    by_moment,
    delete_harvests,
    fresh_totals,
    harvest_fault,
    is_spoiled,
    select_harvests,
    spoiled_words,
    taken_words,
)
from farm.records import (
    Kilograms,
    Line,
    Moment,
    TableRow,
    VesselId,
    by_line,
    check_table,
    ids_in_short,
    no_vessel_words,
    select_vessels,
)
from farm.records.models import Harvest
from farm.store import Farm, Quantity, schema, to_instant
from farm.store.errors import HarvestError, InputFileError

#: Columns of a table of harvests.
HARVEST_COLUMNS = ("vessel", "at", "kg", "flush")
_TELL_TIMES = "give the time of day of each"
#: What the column together says of a row of several vessels: each gave that weight, or all of them.
_EACH, _ALL = ("each",), ("all", "together")


class HarvestRow(TableRow):
    """A row of a table of harvests; a column "weight" is in the farm's unit, or each cell names its own.

    together: of a row for a range of vessels, each or all; else the vessels that it was weighed together with.
    """

    takes_ranges: ClassVar[bool] = True
    other_names: ClassVar[dict[str, str]] = {
        "id": "vessel", "day": "at", "date": "at", "harvested": "at", "weight": "kg", "fresh_kg": "kg",
    }  # fmt: skip
    in_farm_units: ClassVar[dict[str, Quantity]] = {"weight": "weight"}
    vessel: VesselId
    at: Moment
    kg: Kilograms
    flush: Annotated[int, Field(ge=1, le=MOST_FLUSHES)] | None = None
    together: str = ""


@dataclass(frozen=True)
class HarvestImport:
    """What became of a table. fresh: the harvests that were taken in; same: how many were known already."""

    fresh: tuple[Harvest, ...]
    same: int

    @property
    def added(self) -> int:
        """How many were taken in."""
        return len(self.fresh)


def import_harvests(farm: Farm, source: Path, *, sure: bool = False) -> HarvestImport:
    """Take in a table of harvests (HARVEST_COLUMNS), all of it or nothing. Raises InputFileError.

    A harvest that is known already is passed over; another one of the same vessel at the same moment is a fault. sure:
    take in also what is most likely a mistake.
    """
    with farm.writing() as connection:
        wanted, known = _checked_table(farm, connection, source, sure=sure)
        fresh = [harvest for harvest in wanted if (harvest.vessel, harvest.at) not in known]
        if fresh:
            connection.execute(insert(schema.harvests), [asdict(one) for one in fresh])
    return HarvestImport(tuple(fresh), len(wanted) - len(fresh))


def take_back_table(farm: Farm, source: Path) -> int:
    """Take back the harvests of a table that was taken in; how many there were. Raises InputFileError, HarvestError."""
    with farm.writing() as connection:
        wanted, known = _checked_table(farm, connection, source, sure=True)
        found = [harvest for harvest in wanted if (harvest.vessel, harvest.at) in known]
        if not found:
            raise HarvestError(f"no harvest of {source} is noted")
        delete_harvests(connection, found)
    return len(found)


def _checked_table(
    farm: Farm, connection: Connection, source: Path, *, sure: bool
) -> tuple[list[Harvest], dict[tuple[str, datetime], Harvest]]:
    """The harvests of a table, and those of its vessels that are known. Raises InputFileError naming all faults."""
    lines, problems = check_table(source, HarvestRow, farm.settings.date_order, farm.units)
    vessels = {one.id: one for one in select_vessels(connection, {line.row.vessel for line in lines})}
    known = by_moment(select_harvests(connection, set(vessels)))
    wanted: dict[tuple[str, datetime], Harvest] = {}
    picked = fresh_totals(known.values())
    several = _vessels_by_line(lines)
    problems += [_ask_of_range(one.number, several[one.number]) for one in lines if _is_unsaid(one, several)]
    for line, harvest in ((one, _harvest(farm, one, several[one.number])) for one in lines):
        key = (harvest.vessel, harvest.at)
        where = f"line {line.number}, column"
        if (vessel := vessels.get(harvest.vessel)) is None:
            problems.append(f"{where} vessel: {no_vessel_words(harvest.vessel)}")
        elif fault := harvest_fault(farm, harvest, vessel):
            problems.append(f"{where} at: {fault}")
        elif key not in known and is_spoiled(farm, harvest, vessel):
            problems.append(f"{where} at: {spoiled_words([vessel.id])}")
        elif key in wanted:
            problems.append(f"{where} at: {taken_words(farm, wanted[key])} in this table too; {_TELL_TIMES}")
        elif key in known and not _same(known[key], harvest):
            problems.append(f"line {line.number}, its weight: {taken_words(farm, known[key])}")
        elif key not in known and not sure:
            picked[vessel.id] = picked.get(vessel.id, 0.0) + harvest.fresh_kg
            doubt = harvest_doubt(farm, vessel, picked[vessel.id])
            problems += [f"line {line.number}, its weight: {doubt} ({IF_SURE})"] if doubt else []
        wanted.setdefault(key, harvest)
    if problems:
        raise InputFileError(str(source), by_line(list(dict.fromkeys(problems))))
    return list(wanted.values()), known


def _harvest(farm: Farm, line: Line[HarvestRow], vessels: Sequence[str]) -> Harvest:
    """The harvest of a row. vessels: all that the row is of."""
    row = line.row
    kg, together = row.kg, row.together
    if together.lower() in (*_EACH, *_ALL):
        shared = len(vessels) > 1 and together.lower() in _ALL
        kg, together = (kg / len(vessels), ids_in_short(vessels)) if shared else (kg, "")
    return Harvest(row.vessel, to_instant(row.at, farm.zone), kg, row.flush, together)


def _vessels_by_line(lines: Iterable[Line[HarvestRow]]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    for line in lines:
        found.setdefault(line.number, []).append(line.row.vessel)
    return found


def _is_unsaid(line: Line[HarvestRow], several: dict[int, list[str]]) -> bool:
    """Whether a row of several vessels does not say if each gave its weight."""
    return len(several[line.number]) > 1 and line.row.together.lower() not in (*_EACH, *_ALL)


def _ask_of_range(number: int, vessels: Sequence[str]) -> str:
    weighed = "write each in a column together if each gave that weight, all if they were weighed together"
    return f"line {number}, column vessel: {ids_in_short(vessels)} are several: {weighed}"


def _same(one: Harvest, other: Harvest) -> bool:
    return abs(one.fresh_kg - other.fresh_kg) < 1e-6 and one.flush == other.flush
