"""What needs a person's eyes: suspects and stalls, most urgent first, and the verdicts given on them."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Literal

from sqlalchemy import insert, select

from farm.clock import now
from farm.errors import ReviewError
from farm.outlook import Outlook
from farm.records import KeptReading, Review, SuspectMark, Verdict
from farm.schema import reviews
from farm.store import Farm
from farm.vessels import close_vessel, get_vessel

STALL = "stall"
DROP = "drop"
Urgency = Literal["high", "middle", "low"]

#: A suspect is looked for in so many of the newest readings: glare or a turned bag may hide it in one.
_NEWEST = 2
#: A dismissed suspect comes back when it has grown by this factor and by this area, cm2.
_REGROWN = 1.5
_REGROWN_CM2 = 1.0
#: A dismissed stall or drop comes back after so many days.
_STALL_RETURNS_DAYS = 7
_HIGH_SCORE = 0.7
_DROP_WHY = "percent fell to {percent:.0f}: if it was shaken, note it with `spawnrun event`; else look at the photo"


@dataclass(frozen=True)
class ReviewItem:
    """Something to look at.

    subject: a suspect's colour, "stall" or "drop". where: on the face, in words. since: first of the unbroken run of
    readings that show it. growth_cm2_per_day: None with one reading. mark and reading: where it is seen best.
    """

    vessel: str
    subject: str
    urgency: Urgency
    why: str
    where: str
    since: datetime
    watched: bool
    score: float = 0.0
    area_cm2: float | None = None
    growth_cm2_per_day: float | None = None
    mark: SuspectMark | None = None
    reading: KeptReading | None = None


def review_items(farm: Farm, outlooks: Sequence[Outlook]) -> list[ReviewItem]:
    """Open items of running vessels, most urgent first."""
    verdicts = _latest_verdicts(farm)
    items: list[ReviewItem] = []
    for outlook in outlooks:
        if outlook.vessel.state == "running":
            suspects = _suspects(outlook, verdicts)
            faults = _growth_faults(outlook, verdicts)
            # A mould that spreads takes percent away; that is no second thing to ask about.
            items += [*suspects, *(fault for fault in faults if not (suspects and fault.subject == DROP))]
    order: dict[Urgency, int] = {"high": 0, "middle": 1, "low": 2}
    return sorted(items, key=lambda one: (order[one.urgency], -one.score, -(one.area_cm2 or 0.0), one.vessel))


def give_verdict(
    farm: Farm,
    items: Sequence[ReviewItem],
    vessel_id: str,
    verdict: Verdict,
    *,
    subject: str = "",
    by: str = "",
    note: str = "",
) -> list[Review]:
    """Keep a verdict on what is open for a vessel (only on one subject if given). Raises ReviewError if nothing is.

    Confirming a suspect takes the vessel out of the lists as contaminated.
    """
    vessel = get_vessel(farm, vessel_id)
    open_ones = [item for item in items if item.vessel == vessel.id and subject in ("", item.subject)]
    if not open_ones:
        what = f" of {subject}" if subject else ""
        raise ReviewError(f"nothing{what} is up for review on {vessel.id}; `spawnrun review list` shows what is")
    given = [Review(vessel.id, item.subject, verdict, now(), by, note, item.area_cm2) for item in open_ones]
    with farm.writing() as connection:
        connection.execute(insert(reviews), [asdict(one) for one in given])
    if verdict == "confirmed" and any(item.mark is not None for item in open_ones):
        close_vessel(farm, vessel.id, state="contaminated", why=f"contamination confirmed{f': {note}' if note else ''}")
    return given


def list_verdicts(farm: Farm, vessel_id: str | None = None) -> list[Review]:
    """Verdicts, oldest first; of one vessel or all."""
    query = select(reviews).order_by(reviews.c.id)
    if vessel_id is not None:
        query = query.where(reviews.c.vessel == vessel_id)
    with farm.reading() as connection:
        return [
            Review(row.vessel, row.subject, row.verdict, row.at, row.by, row.note, row.area_cm2)
            for row in connection.execute(query)
        ]


def where_on_face(mark: SuspectMark, face_box: tuple[int, int, int, int] | None) -> str:
    """The suspect's place on the face in words, such as "upper left"."""
    if face_box is None:
        return ""
    across = (mark.box[0] + mark.box[2] / 2 - face_box[0]) / max(face_box[2], 1)
    down = (mark.box[1] + mark.box[3] / 2 - face_box[1]) / max(face_box[3], 1)
    row = "upper" if down < 1 / 3 else "lower" if down > 2 / 3 else ""
    column = "left" if across < 1 / 3 else "right" if across > 2 / 3 else ""
    return " ".join(filter(None, (row, column))) or "middle"


def _latest_verdicts(farm: Farm) -> dict[tuple[str, str], Review]:
    return {(one.vessel, one.subject): one for one in list_verdicts(farm)}


def _suspects(outlook: Outlook, verdicts: dict[tuple[str, str], Review]) -> list[ReviewItem]:
    newest = outlook.readings[-_NEWEST:]
    colours = dict.fromkeys(mark.colour for reading in reversed(newest) for mark in reading.suspects)
    items = [_suspect(outlook, colour, verdicts.get((outlook.vessel.id, colour))) for colour in colours]
    return [item for item in items if item is not None]


def _suspect(outlook: Outlook, colour: str, verdict: Review | None) -> ReviewItem | None:
    run = _unbroken_run(outlook.readings, colour)
    reading = run[-1]
    area = _area(reading, colour)
    if verdict is not None and verdict.verdict in ("dismissed", "confirmed"):
        before = verdict.area_cm2 or 0.0
        if area < max(before * _REGROWN, before + _REGROWN_CM2):
            return None
    marks = [mark for mark in reading.suspects if mark.colour == colour]
    mark = max(marks, key=lambda one: (one.area_cm2, one.score))
    score = max(one.score for one in marks)
    days = (reading.taken_at - run[0].taken_at) / timedelta(days=1)
    growth = (area - _area(run[0], colour)) / days if days > 0 else None
    growing = growth is not None and growth > 0
    return ReviewItem(
        vessel=outlook.vessel.id,
        subject=colour,
        urgency="high" if score >= _HIGH_SCORE or (growing and len(run) > 1) else "middle",
        why=_why(colour, area, growth, reading is outlook.last),
        where=where_on_face(mark, reading.face_box),
        since=run[0].taken_at,
        watched=verdict is not None and verdict.verdict == "watched",
        score=score,
        area_cm2=area,
        growth_cm2_per_day=growth,
        mark=mark,
        reading=reading,
    )


def _unbroken_run(readings: Sequence[KeptReading], colour: str) -> list[KeptReading]:
    """The newest run of readings that show the colour; one reading without it does not break the run."""
    run: list[KeptReading] = []
    missed = 0
    for reading in reversed(readings):
        if any(mark.colour == colour for mark in reading.suspects):
            run.insert(0, reading)
            missed = 0
        else:
            missed += 1
        if missed >= _NEWEST:
            break
    return run


def _area(reading: KeptReading, colour: str) -> float:
    return sum(mark.area_cm2 for mark in reading.suspects if mark.colour == colour)


def _why(colour: str, area: float, growth: float | None, in_newest: bool) -> str:
    grows = f", growing {growth:.1f} cm2 a day" if growth is not None and growth > 0.05 else ""
    gone = "" if in_newest else "; not seen in the newest photo"
    return f"{colour} patch of {area:.1f} cm2{grows}{gone}"


def _growth_faults(outlook: Outlook, verdicts: dict[tuple[str, str], Review]) -> list[ReviewItem]:
    status = outlook.forecast.status
    last = outlook.last
    if status not in ("stalled", "ask") or last is None:
        return []
    subject = STALL if status == "stalled" else DROP
    verdict = verdicts.get((outlook.vessel.id, subject))
    settled = verdict if verdict is not None and verdict.verdict != "watched" else None
    if settled is not None and settled.at + timedelta(days=_STALL_RETURNS_DAYS) > now():
        return []
    at_percent = f"{outlook.forecast.percent_now or 0.0:.0f} %"
    why = f"growth stopped near {at_percent}" if subject == STALL else _DROP_WHY.format(percent=last.percent)
    watched = verdict is not None and verdict.verdict == "watched"
    urgency: Urgency = "middle" if subject == STALL else "low"
    return [ReviewItem(outlook.vessel.id, subject, urgency, why, "", last.taken_at, watched, reading=last)]
