"""Verdicts given on what is open for a vessel."""

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import insert

from farm.records import get_vessel, is_contamination, review_columns, select_verdicts, set_state
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
    chosen = items_to_judge(items, vessel.id, subject)
    # One moment for all, to the microsecond: what was given together is taken back together, and nothing else.
    at = datetime.now(UTC)
    given = [
        Review(vessel.id, one.subject, verdict, at, by, note, one.area_cm2, _place(one), reading=_judged(one))
        for one in chosen
    ]
    with farm.writing() as connection:  # verdict and state together: a stop leaves both or neither
        standing = [one for one in select_verdicts(connection, vessel.id) if one.undone_at is None]
        fresh = [one for item, one in zip(chosen, given, strict=True) if not _is_given(item, one, standing)]
        for one in fresh:
            connection.execute(insert(reviews).values(review_columns(one)))
        if any(map(is_contamination, fresh)):
            state: State = "quarantined" if quarantine else "contaminated"
            set_state(connection, vessel.id, state, f"contamination confirmed{f': {note}' if note else ''}")
    return given


def items_to_judge(items: Sequence[ReviewItem], vessel_id: str, subject: str = "") -> list[ReviewItem]:
    """What a verdict on a vessel is about: what is open, or what has this name or colour. Raises ReviewError."""
    wanted = [item for item in items if item.vessel == vessel_id and item.standing not in ("confirmed", "taken out")]
    chosen = [item for item in wanted if subject and subject in item.names] or [
        item for item in wanted if item.standing == "open" and subject in ("", item.subject)
    ]
    if not chosen:
        what = f" of {subject}" if subject else ""
        raise ReviewError(f"nothing{what} is up for review on {vessel_id}; `spawnrun review list` shows what is")
    return chosen


def _is_given(item: ReviewItem, verdict: Review, standing: Sequence[Review]) -> bool:
    """Whether the same verdict was given since the item was listed, as by a button that is pressed twice."""
    known = (None if item.verdict is None else item.verdict.id) or 0
    same = (verdict.subject, verdict.verdict, verdict.place, verdict.reading)
    return any((one.id or 0) > known and (one.subject, one.verdict, one.place, one.reading) == same for one in standing)


def _place(item: ReviewItem) -> Place | None:
    return None if item.history is None else item.history.last.place


def _judged(item: ReviewItem) -> str | None:
    return item.reading.key if item.subject == MISFIT and item.reading is not None else None
