"""Verdicts of people on suspects and other things up for review: kept and undone, never deleted."""

from dataclasses import asdict, replace
from typing import Any

from sqlalchemy import Connection, Row, select, update

from farm.records.models import STALL, TAKEN_OUT, Place, Review, means_contamination
from farm.records.vessels import get_vessel, select_vessels, set_state
from farm.store import Farm, now
from farm.store.errors import ReviewError
from farm.store.schema import reviews


def undo_verdict(
    farm: Farm, vessel_id: str, *, subject: str = "", verdict_id: int | None = None, by: str = ""
) -> list[Review]:
    """Take back the newest verdict on a vessel (on this subject; or the one of this id) and give it as it now stands.

    Verdicts that were given together, in one command, are taken back together. What was said before counts again. A
    vessel that was taken out by it runs again unless another confirmation stands.
    Raises ReviewError if there is none to take back.
    """
    asked = get_vessel(farm, vessel_id).id
    with farm.writing() as connection:  # verdict and state together: a stop leaves both or neither
        (vessel,) = select_vessels(connection, [asked])
        standing = [one for one in select_verdicts(connection, asked) if one.undone_at is None]
        found = [one for one in standing if subject in ("", one.subject) and verdict_id in (None, one.id)]
        if not found:
            raise ReviewError(f"no verdict on {asked} to take back")
        undone_at = now()
        back = [replace(one, undone_at=undone_at, undone_by=by) for one in found if one.at == found[-1].at]
        ids = {one.id for one in back}
        row = update(reviews).where(reviews.c.id.in_(ids))
        connection.execute(row.values(undone_at=undone_at, undone_by=by))
        others = [one for one in standing if one.id not in ids and is_contamination(one)]
        if any(map(is_contamination, back)) and vessel.state in TAKEN_OUT and not others:
            set_state(connection, asked, "running", f"confirmation taken back{f' by {by}' if by else ''}")
    return back


def older_verdict(farm: Farm, vessel_id: str, *, subject: str = "", verdict_id: int | None = None) -> Review | None:
    """The verdict that ``undo_verdict`` would take back, where a later one was taken back already; else None.

    Who repeats an undo may not know that it reaches further back.
    """
    mine = [one for one in list_verdicts(farm, get_vessel(farm, vessel_id).id) if subject in ("", one.subject)]
    standing = [one for one in mine if one.undone_at is None]
    if verdict_id is not None or not standing or standing[-1] is mine[-1]:
        return None
    return standing[-1]


def is_contamination(one: Review) -> bool:
    """Whether the verdict says that the vessel is contaminated."""
    return one.verdict == "confirmed" and means_contamination(one.subject)


def wrong_readings(farm: Farm) -> dict[str, str]:
    """Keys of the readings that a person confirmed to be wrong, each with its vessel."""
    latest = {one.reading: one for one in list_verdicts(farm) if one.reading and one.undone_at is None}
    return {reading: one.vessel for reading, one in latest.items() if one.verdict == "confirmed"}


def confirmed_stalls(farm: Farm) -> set[str]:
    """The vessels of which a person last confirmed that they have stalled."""
    newest = {one.vessel: one for one in list_verdicts(farm) if one.subject == STALL and one.undone_at is None}
    return {vessel for vessel, one in newest.items() if one.verdict == "confirmed"}


def list_verdicts(farm: Farm, vessel_id: str | None = None) -> list[Review]:
    """Verdicts, oldest first, those taken back too, as known at the farm's known_at; of one vessel or all."""
    with farm.reading() as connection:
        found = select_verdicts(connection, vessel_id)
    known_at = farm.known_at
    if known_at is None:
        return found
    return [
        replace(one, undone_at=None, undone_by="") if one.undone_at and one.undone_at > known_at else one
        for one in found
        if one.at <= known_at
    ]


def select_verdicts(connection: Connection, vessel_id: str | None = None) -> list[Review]:
    """All verdicts, oldest first, of one vessel or all, within a transaction."""
    query = select(reviews).order_by(reviews.c.id)
    if vessel_id is not None:
        query = query.where(reviews.c.vessel == vessel_id)
    return [_review(row) for row in connection.execute(query)]


def review_columns(one: Review) -> dict[str, Any]:
    """A verdict as columns of the table of reviews."""
    return {name: value for name, value in asdict(one).items() if name != "id"}


def _review(row: Row[Any]) -> Review:
    facts = dict(row._mapping)
    return Review(**{**facts, "place": None if row.place is None else Place(**row.place)})
