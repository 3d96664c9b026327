"""Verdicts that people give on what needs eyes: kept, and taken back; a record of them is never deleted."""

from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import Any

from sqlalchemy import Row, insert, select, update

from farm.clock import now
from farm.errors import ReviewError
from farm.records import DROP, STALL, TAKEN_OUT, Place, Review, State, Verdict
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

    subject: only on what has this colour, or the one suspect of this key; "" means all. Confirming a suspect takes the
    vessel out of the lists as contaminated, or as quarantined.
    """
    vessel = get_vessel(farm, vessel_id)
    wanted = [item for item in items if item.vessel == vessel.id and item.standing not in ("confirmed", "taken out")]
    chosen = [item for item in wanted if item.key == subject] or [
        item for item in wanted if item.standing == "open" and subject in ("", item.subject)
    ]
    if not chosen:
        what = f" of {subject}" if subject else ""
        raise ReviewError(f"nothing{what} is up for review on {vessel.id}; `spawnrun review list` shows what is")
    given = [Review(vessel.id, one.subject, verdict, now(), by, note, one.area_cm2, _place(one)) for one in chosen]
    with farm.writing() as connection:
        for one in given:
            connection.execute(insert(reviews).values(_columns(one)))
    if verdict == "confirmed" and any(item.mark is not None for item in chosen):
        state: State = "quarantined" if quarantine else "contaminated"
        close_vessel(farm, vessel.id, state=state, why=f"contamination confirmed{f': {note}' if note else ''}")
    return given


def undo_verdict(
    farm: Farm, vessel_id: str, *, subject: str = "", verdict_id: int | None = None, by: str = ""
) -> Review:
    """Take back the newest verdict on a vessel (on this subject; or the one of this id) and give it as it now stands.

    What was said before counts again. A vessel that was taken out by it runs again unless another confirmation stands.
    Raises ReviewError if there is none to take back.
    """
    vessel = get_vessel(farm, vessel_id)
    standing = [one for one in list_verdicts(farm, vessel.id) if one.undone_at is None]
    found = [one for one in standing if subject in ("", one.subject) and verdict_id in (None, one.id)]
    if not found:
        raise ReviewError(f"no verdict on {vessel.id} to take back")
    back = replace(found[-1], undone_at=now(), undone_by=by)
    with farm.writing() as connection:
        row = update(reviews).where(reviews.c.id == back.id)
        connection.execute(row.values(undone_at=back.undone_at, undone_by=by))
    others = [one for one in standing if one.id != back.id and is_contamination(one)]
    if is_contamination(back) and vessel.state in TAKEN_OUT and not others:
        close_vessel(farm, vessel.id, state="running", why=f"confirmation taken back{f' by {by}' if by else ''}")
    return back


def is_contamination(one: Review) -> bool:
    """Whether the verdict says that a suspect is contamination."""
    return one.verdict == "confirmed" and one.subject not in (STALL, DROP)


def list_verdicts(farm: Farm, vessel_id: str | None = None) -> list[Review]:
    """Verdicts, oldest first, those taken back too; of one vessel or all."""
    query = select(reviews).order_by(reviews.c.id)
    if vessel_id is not None:
        query = query.where(reviews.c.vessel == vessel_id)
    with farm.reading() as connection:
        return [_review(row) for row in connection.execute(query)]


def _place(item: ReviewItem) -> Place | None:
    return None if item.history is None else item.history.last.place


def _columns(one: Review) -> dict[str, Any]:
    return {name: value for name, value in asdict(one).items() if name != "id"}


def _review(row: Row[Any]) -> Review:
    facts = dict(row._mapping)
    return Review(**{**facts, "place": None if row.place is None else Place(**row.place)})
