"""Verdicts given on what is open for a vessel."""

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import insert

from farm.records import close_vessel, get_vessel, is_contamination, review_columns
from farm.records.models import MISFIT, Place, Review, State, Verdict
from farm.review.item import ReviewItem
from farm.store import Farm
from farm.store.errors import ReviewError
from farm.store.schema import reviews


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
            connection.execute(insert(reviews).values(review_columns(one)))
    if any(map(is_contamination, given)):
        state: State = "quarantined" if quarantine else "contaminated"
        close_vessel(farm, vessel.id, state=state, why=f"contamination confirmed{f': {note}' if note else ''}")
    return given


def _place(item: ReviewItem) -> Place | None:
    return None if item.history is None else item.history.last.place


def _judged(item: ReviewItem) -> str | None:
    return item.reading.key if item.subject == MISFIT and item.reading is not None else None
