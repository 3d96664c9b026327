"""The farm's vessels: added, imported, listed, closed, noted on."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, insert, select, update

from farm.records.descent import older_than_source
from farm.records.id_ranges import alike, dashed_range, expand_ids, ids_in_short
from farm.records.models import TAKEN_OUT, Note, State, Vessel
from farm.records.notes import insert_note
from farm.records.shelves import shelf_key, shelf_name, shelf_spellings, with_shelf_names
from farm.records.species_names import unknown_species
from farm.records.tables import Line, VesselRow, by_line, check_table
from farm.store import Farm, in_chunks, iso, mark_stale, now, schema, to_instant
from farm.store.errors import InputFileError, NoteError, UnknownVesselError, VesselChangeError

_FACE_COLUMNS = ("kind", "species", "substrate", "inoculated_at", "face_width_mm", "face_height_mm", "diameter_mm")


@dataclass(frozen=True)
class ImportCount:
    """What became of the rows of a table.

    unknown_columns: those with anything in them; kept_columns: of these, what was kept as notes on new and changed
    vessels. Of unknown_species, among new and changed ones, nothing is known;
    of assumed_use only the kind tells what they are for. odd_dates: lines whose vessel is older than its source, in
    words.
    """

    added: int
    changed: int
    same: int
    unknown_columns: tuple[str, ...] = ()
    kept_columns: tuple[str, ...] = ()
    unknown_species: tuple[str, ...] = ()
    assumed_use: tuple[Vessel, ...] = ()
    odd_dates: tuple[str, ...] = ()


def vessel_of_row(row: VesselRow, farm: Farm) -> Vessel:
    """The vessel that a checked row describes; times without an offset are on the farm's clock."""
    facts = row.model_dump(exclude={"vessel", "inoculated"})
    return Vessel(id=row.vessel, inoculated_at=to_instant(row.inoculated, farm.zone), **facts)


def import_vessels(farm: Farm, source: Path, *, update_known: bool = False) -> ImportCount:
    """Take in a vessels.csv, all of it or nothing. Raises InputFileError.

    A row equal to the vessel of its id is passed over; one that differs is a fault unless update_known.
    """
    with farm.writing() as connection:
        return take_in_vessels(farm, connection, source, update_known=update_known)


def take_in_vessels(farm: Farm, connection: Connection, source: Path, *, update_known: bool) -> ImportCount:
    """Take in a vessels.csv within a transaction, as ``import_vessels`` does."""
    lines, problems = check_table(source, VesselRow, farm.settings.date_order, farm.units)
    wanted = with_shelf_names(connection, [vessel_of_row(line.row, farm) for line in lines])
    known = {vessel.id: vessel for vessel in select_vessels(connection)}
    problems += [*_to_come(farm, lines, wanted), *_conflicts(lines, wanted, known, update_known=update_known)]
    if problems:
        raise InputFileError(str(source), by_line(problems))
    fresh = [vessel for vessel in wanted if vessel.id not in known]
    changed = [vessel for vessel in wanted if vessel.id in known and not _same(vessel, known[vessel.id])]
    insert_vessels(connection, fresh)
    for vessel in changed:
        _replace(connection, vessel, known[vessel.id])
    taken = {vessel.id for vessel in (*fresh, *changed)}
    kept = [line for line in lines if line.extra and line.row.vessel in taken]
    for line in kept:
        insert_note(connection, line.row.vessel, "; ".join(f"{name}: {text}" for name, text in line.extra.items()))
    return ImportCount(
        added=len(fresh),
        changed=len(changed),
        same=len(wanted) - len(fresh) - len(changed),
        unknown_columns=tuple(sorted({name for line in lines for name in line.extra})),
        kept_columns=tuple(sorted({name for line in kept for name in line.extra})),
        unknown_species=unknown_species(farm, (one.species for one in (*fresh, *changed))),
        assumed_use=tuple(one for one in (*fresh, *changed) if one.use_is_assumed),
        odd_dates=tuple(_odd_dates(farm, lines, wanted, known)),
    )


def add_vessels(farm: Farm, vessels: Sequence[Vessel]) -> None:
    """Add some vessels, all or none. Raises InputFileError naming ids that are taken and inoculations yet to come."""
    if early := dict.fromkeys(one.inoculated_at for one in vessels if farm.has_not_come(one.inoculated_at)):
        raise InputFileError("vessel add", [f"inoculated: {iso(at, farm.zone)} has not come yet" for at in early])
    with farm.writing() as connection:
        taken = [one.id for one in select_vessels(connection, [one.id for one in vessels])]
        if taken:
            raise InputFileError("vessel add", [f"{one} is in the farm already" for one in taken])
        insert_vessels(connection, list(vessels))


def vessels_on_shelf(farm: Farm, shelf: str, *, state: State | None = None) -> list[Vessel]:
    """The vessels on a shelf, its name in any case, by id; state None means of any."""
    return [one for one in list_vessels(farm, state=state) if shelf_key(one.shelf) == shelf_key(shelf)]


def list_vessels(farm: Farm, *, state: State | None = None, ids: Collection[str] | None = None) -> list[Vessel]:
    """The vessels by id, as known at the farm's known_at; state None means of any, ids None all."""
    known_at = farm.known_at
    with farm.reading() as connection:
        if known_at is None:
            return list(select_vessels(connection, ids, state))
        then = (_as_known(one, known_at) for one in select_vessels(connection, ids) if one.inoculated_at <= known_at)
        return [one for one in then if state in (None, one.state)]


def closed_since(farm: Farm, moment: datetime) -> list[Vessel]:
    """The vessels that were closed or taken out after a moment, by id, as known at the farm's known_at."""
    with farm.reading() as connection:
        ids = list(connection.scalars(select(schema.vessels.c.id).where(schema.vessels.c.closed_at > moment)))
    return [one for one in list_vessels(farm, ids=ids) if one.closed_at is not None]


def list_taken_out(farm: Farm) -> list[Vessel]:
    """The vessels that are out as contaminated, by id."""
    return sorted((one for state in TAKEN_OUT for one in list_vessels(farm, state=state)), key=lambda one: one.id)


def get_vessel(farm: Farm, vessel_id: str) -> Vessel:
    """The vessel of that id (in any case). Raises UnknownVesselError."""
    with farm.reading() as connection:
        for vessel in select_vessels(connection, [vessel_id.strip().upper()]):
            return vessel
    raise UnknownVesselError(f"no vessel {vessel_id} in {farm.folder}; {_meant(farm, [vessel_id])}")


def chosen_vessels(farm: Farm, texts: Sequence[str]) -> list[Vessel]:
    """The vessels of ids and ranges (B001..B020), in the order given. Raises UnknownVesselError naming the others."""
    try:
        ids = expand_ids(texts)
    except ValueError as error:
        raise UnknownVesselError(str(error)) from None
    known = {one.id: one for one in list_vessels(farm, ids=ids)}
    if strange := ids_in_short(one for one in ids if one not in known):
        raise UnknownVesselError(f"no vessel {strange} in {farm.folder}; {_meant(farm, [*ids, strange])}")
    return [known[one] for one in ids]


def _meant(farm: Farm, texts: Sequence[str]) -> str:
    """What an unknown id may be meant for: a range, or a vessel (of the last text); else where they are listed."""
    if meant := next((one for one in map(dashed_range, texts) if one), ""):
        return f"a range is written {meant}"
    near = alike(texts[-1], (one.id for one in list_vessels(farm)))
    return f"did you mean {near}?" if near else "`spawnrun vessel list` shows them"


def close_vessel(
    farm: Farm, vessel_id: str, *, state: State = "closed", why: str = "", at: datetime | None = None
) -> Vessel:
    """Take a vessel out of the lists (state running puts it back); why is kept as a note. at: when; None: now."""
    vessel = get_vessel(farm, vessel_id)
    with farm.writing() as connection:
        set_state(connection, vessel.id, state, why, at)
    return get_vessel(farm, vessel.id)


def move_vessels(farm: Farm, ids: Collection[str], shelf: str | None) -> str:
    """Note on which shelf some vessels stand from now on; its name as the farm writes it. None: on none.

    Raises VesselChangeError for a name without letters.
    """
    name = "" if shelf is None else shelf_name(shelf)
    if shelf is not None and not name:
        raise VesselChangeError(
            "a shelf needs a name; `spawnrun vessel move VESSELS --no-shelf` notes that there is none"
        )
    with farm.writing() as connection:
        name = shelf_spellings(connection).get(shelf_key(name), name)
        for chosen in in_chunks(schema.vessels.c.id, ids):
            connection.execute(update(schema.vessels).where(chosen).values(shelf=name))
    return name


def set_state(connection: Connection, vessel_id: str, state: State, why: str = "", at: datetime | None = None) -> None:
    """As ``close_vessel``, within a transaction that does something else too."""
    closed_at = None if state == "running" else at or now()
    change = update(schema.vessels).where(schema.vessels.c.id == vessel_id)
    connection.execute(change.values(state=state, closed_at=closed_at))
    if why:
        insert_note(connection, vessel_id, why)


def add_note(farm: Farm, vessel_id: str, text: str) -> Note:
    """Keep a note on a vessel. Raises NoteError for a text without words."""
    if not text.strip():
        raise NoteError("a note needs words")
    vessel = get_vessel(farm, vessel_id)
    with farm.writing() as connection:
        return insert_note(connection, vessel.id, text)


def select_vessels(
    connection: Connection, ids: Collection[str] | None = None, state: State | None = None
) -> Iterable[Vessel]:
    """Vessels by id; ids, state: None means of any."""
    spellings = shelf_spellings(connection)
    query = select(*(schema.vessels.c[fact.name] for fact in fields(Vessel))).order_by(schema.vessels.c.id)
    if state is not None:
        query = query.where(schema.vessels.c.state == state)
    for chosen in in_chunks(schema.vessels.c.id, ids):
        for row in connection.execute(query.where(chosen)):
            vessel = Vessel(*row)
            yield replace(vessel, shelf=spellings.get(shelf_key(vessel.shelf), "")) if vessel.shelf else vessel


def insert_vessels(connection: Connection, vessels: Sequence[Vessel]) -> None:
    """Add vessels within a transaction."""
    if vessels:
        named = with_shelf_names(connection, vessels)
        connection.execute(insert(schema.vessels), [asdict(vessel) for vessel in named])


def _as_known(vessel: Vessel, known_at: datetime) -> Vessel:
    """The vessel as it was before it was closed or taken out, if that was later."""
    if vessel.closed_at is None or vessel.closed_at <= known_at:
        return vessel
    return replace(vessel, state="running", closed_at=None)


def _replace(connection: Connection, vessel: Vessel, known: Vessel) -> None:
    facts = asdict(vessel) | {"state": known.state, "closed_at": known.closed_at, "summary": None}
    same = update(schema.vessels).where(schema.vessels.c.id == vessel.id)
    connection.execute(same.values(**facts, revision=schema.vessels.c.revision + 1))
    if any(facts[name] != getattr(known, name) for name in _FACE_COLUMNS):
        mark_stale(connection, [vessel.id])


def _odd_dates(
    farm: Farm, lines: Sequence[Line[VesselRow]], wanted: Sequence[Vessel], known: dict[str, Vessel]
) -> Iterable[str]:
    by_id = known | {one.id: one for one in wanted}
    for line, vessel in zip(lines, wanted, strict=True):
        if odd := older_than_source(farm, vessel, by_id):
            yield f"line {line.number}, column inoculated: {odd}"


def _same(wanted: Vessel, known: Vessel) -> bool:
    unstated = {"state": known.state, "closed_at": known.closed_at}
    return asdict(wanted) | unstated == asdict(known)


def _to_come(farm: Farm, lines: Sequence[Line[VesselRow]], wanted: Sequence[Vessel]) -> list[str]:
    return [
        f"line {line.number}, column inoculated: {iso(vessel.inoculated_at, farm.zone)} has not come yet"
        for line, vessel in zip(lines, wanted, strict=True)
        if farm.has_not_come(vessel.inoculated_at)
    ]


def _conflicts(
    lines: Sequence[Line[VesselRow]], wanted: Sequence[Vessel], known: dict[str, Vessel], *, update_known: bool
) -> list[str]:
    problems = []
    first_line: dict[str, int] = {}
    for line, vessel in zip(lines, wanted, strict=True):
        where = f"line {line.number}, column vessel: {vessel.id}"
        if vessel.id in first_line:
            problems.append(f"{where} stands on line {first_line[vessel.id]} too")
        first_line.setdefault(vessel.id, line.number)
        if not update_known and vessel.id in known and not _same(vessel, known[vessel.id]):
            problems.append(f"{where} is in the farm already, with other values; give --update to replace them")
    return problems
