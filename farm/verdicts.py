"""Verdicts that people give on what needs eyes: kept, and taken back; a record of them is never deleted."""

from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Row, insert, select, update

from farm.clock import now
from farm.errors import ReviewError
from farm.records import MISFIT, TAKEN_OUT, Place, Review, State, Verdict, means_contamination
from farm.review_item import ReviewItem
from farm.schema import reviews
from farm.store import Farm
from farm.vessels import close_vessel, get_vessel


def give_verdict(
    farm: Farm,
    items: Sequence[ReviewItem],
    vessel_id: str,
    verdict: Verdict,
    *,
    subject: str = "",
    by: str = "",
    note: str = "",
    quarantine: bool = False,
) -> list[Review]:
    """Keep a verdict on what is open for a vessel. Raises ReviewError if nothing is.

    subject: only on what has this colour, or the one suspect of this name; "" means all. Confirming a suspect takes the
    vessel out of the lists as contaminated, or as quarantined.
    """
    vessel = get_vessel(farm, vessel_id)
    wanted = [item for item in items if item.vessel == vessel.id and item.standing not in ("confirmed", "taken out")]
    chosen = [item for item in wanted if subject and subject in item.names] or [
        item for item in wanted if item.standing == "open" and subject in ("", item.subject)
    ]
    if not chosen:
        what = f" of {subject}" if subject else ""
        raise ReviewError(f"nothing{what} is up for review on {vessel.id}; `spawnrun review list` shows what is")
    # One moment for all, to the microsecond: what was given together is taken back together, and nothing else.
    at = datetime.now(UTC)
    given = [
        Review(vessel.id, one.subject, verdict, at, by, note, one.area_cm2, _place(one), reading=_judged(one))
        for one in chosen
    ]
    with farm.writing() as connection:
        for one in given:
            connection.execute(insert(reviews).values(_columns(one)))
    if any(map(is_contamination, given)):
        state: State = "quarantined" if quarantine else "contaminated"
        close_vessel(farm, vessel.id, state=state, why=f"contamination confirmed{f': {note}' if note else ''}")
    return given


def undo_verdict(
    farm: Farm, vessel_id: str, *, subject: str = "", verdict_id: int | None = None, by: str = ""
) -> list[Review]:
    """Take back the newest verdict on a vessel (on this subject; or the one of this id) and give it as it now stands.

    Verdicts that were given together, in one command, are taken back together. What was said before counts again. A
    vessel that was taken out by it runs again unless another confirmation stands.
    Raises ReviewError if there is none to take back.
    """
    vessel = get_vessel(farm, vessel_id)
    standing = [one for one in list_verdicts(farm, vessel.id) if one.undone_at is None]
    found = [one for one in standing if subject in ("", one.subject) and verdict_id in (None, one.id)]
    if not found:
        raise ReviewError(f"no verdict on {vessel.id} to take back")
    undone_at = now()
    back = [replace(one, undone_at=undone_at, undone_by=by) for one in found if one.at == found[-1].at]
    ids = {one.id for one in back}
    with farm.writing() as connection:
        row = update(reviews).where(reviews.c.id.in_(ids))
        connection.execute(row.values(undone_at=undone_at, undone_by=by))
    others = [one for one in standing if one.id not in ids and is_contamination(one)]
    if any(map(is_contamination, back)) and vessel.state in TAKEN_OUT and not others:
        close_vessel(farm, vessel.id, state="running", why=f"confirmation taken back{f' by {by}' if by else ''}")
    return back


def is_contamination(one: Review) -> bool:
    """Whether the verdict says that the vessel is contaminated."""
    return one.verdict == "confirmed" and means_contamination(one.subject)


def wrong_readings(farm: Farm) -> dict[str, str]:
    """Keys of the readings that a person confirmed to be wrong, each with its vessel."""
    said = {one.reading: one for one in list_verdicts(farm) if one.reading and one.undone_at is None}
    return {reading: one.vessel for reading, one in said.items() if one.verdict == "confirmed"}


def list_verdicts(farm: Farm, vessel_id: str | None = None) -> list[Review]:
    """Verdicts, oldest first, those taken back too; of one vessel or all."""
    query = select(reviews).order_by(reviews.c.id)
    if vessel_id is not None:
        query = query.where(reviews.c.vessel == vessel_id)
    with farm.reading() as connection:
        return [_review(row) for row in connection.execute(query)]


def _place(item: ReviewItem) -> Place | None:
    return None if item.history is None else item.history.last.place


def _judged(item: ReviewItem) -> str | None:
    return item.reading.key if item.subject == MISFIT and item.reading is not None else None


def _columns(one: Review) -> dict[str, Any]:
    return {name: value for name, value in asdict(one).items() if name != "id"}


def _review(row: Row[Any]) -> Review:
    facts = dict(row._mapping)
    return Review(**{**facts, "place": None if row.place is None else Place(**row.place)})
