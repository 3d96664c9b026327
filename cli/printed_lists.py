"""What today's list, the review and the report print: frozen records, as in cli/printed_vessels.py."""

from dataclasses import dataclass
from datetime import tzinfo

from calibration import Kind, Use
from cli.printed_vessels import moments_record, rounded
from farm.fruiting import Stage
from farm.lists import BatchView, Change, Section, TodayItem, What
from farm.records.models import Verdict
from farm.review import ReviewItem, Standing, Urgency
from farm.store import iso


@dataclass(frozen=True)
class TodayRecord:
    """A vessel of `spawnrun ready`. status: what the forecast calls it; used_for: culture, spawn or fruiting.

    action: what to do with it now, "" for nothing; next_step: what follows once it is ready. fruiting: the stage of
    what fruits, flush: number of the next, due_at: when it is to be picked, picked_kg: fresh weight so far.
    """

    section: Section
    vessel: str
    kind: Kind
    species: str
    substrate: str
    batch: str
    shelf: str
    used_for: Use
    status: str
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    last_photo_at: str | None
    through_median: str | None
    through_low: str | None
    through_high: str | None
    ready_median: str | None
    ready_low: str | None
    ready_high: str | None
    action: str
    next_step: str
    marks: tuple[str, ...]
    flags: tuple[str, ...]
    notes: tuple[str, ...]
    fruiting: Stage | None
    flush: int | None
    due_at: str | None
    picked_kg: float | None


@dataclass(frozen=True)
class ReviewRecord:
    """A line of `spawnrun review list`. suspect: its name, which --of takes; subject: its colour, or stall, drop."""

    vessel: str
    subject: str
    suspect: str
    urgency: Urgency
    standing: Standing
    why: str
    where: str
    first_seen_at: str
    last_seen_at: str | None
    score: float | None
    worth: str
    first_area_cm2: float | None
    area_cm2: float | None
    growth_cm2_per_day: float | None
    photos_seen_in: int | None
    watched: bool
    verdict: Verdict | None
    verdict_by: str | None
    verdict_at: str | None
    verdict_note: str | None
    photo: str | None
    crop: str | None


@dataclass(frozen=True)
class ChangeRecord:
    """A change of `spawnrun report`."""

    what: What
    vessel: str
    percent_before: float | None
    percent: float | None
    ready_before_at: str | None
    ready_at: str | None
    to_look_at: tuple[str, ...]
    picked_kg: float


@dataclass(frozen=True)
class BatchRecord:
    """A batch of `spawnrun report`. sections: how many of its vessels stand in each section of today's list."""

    batch: str
    running: int
    vessels: int
    contaminated: int
    closed: int
    sections: dict[Section, int]
    percent_lowest: float | None
    percent_middle: float | None
    percent_highest: float | None
    first_ready_at: str | None
    first_inoculated_at: str
    last_inoculated_at: str


@dataclass(frozen=True)
class ReportRecord:
    """What `spawnrun report --json` prints."""

    farm: str
    as_of: str
    since: str
    changes: tuple[ChangeRecord, ...]
    vessels: tuple[TodayRecord, ...]
    batches: tuple[BatchRecord, ...]


def today_record(item: TodayItem, zone: tzinfo | None) -> TodayRecord:
    """A vessel on today's list."""
    outlook, vessel, last, life = item.outlook, item.outlook.vessel, item.outlook.last, item.fruiting
    return TodayRecord(
        section=item.section,
        vessel=vessel.id,
        kind=vessel.kind,
        species=vessel.species,
        substrate=vessel.substrate,
        batch=vessel.batch,
        shelf=vessel.shelf,
        used_for=item.used_for,
        status=outlook.forecast.status,
        percent=None if last is None else rounded(last.percent),
        percent_low=None if last is None else rounded(last.percent_low),
        percent_high=None if last is None else rounded(last.percent_high),
        last_photo_at=None if last is None else iso(last.taken_at, zone),
        **vars(moments_record(outlook, zone)),
        action=item.action,
        next_step=item.next_step,
        marks=item.marks,
        flags=() if last is None else last.flags,
        notes=tuple(outlook.forecast.notes),
        fruiting=None if life is None else life.stage,
        flush=None if life is None else life.next_flush,
        due_at=None if life is None else iso(life.due_at, zone),
        picked_kg=None if life is None else rounded(life.fresh_kg, 3),
    )


def review_record(item: ReviewItem, crop: str | None, zone: tzinfo | None) -> ReviewRecord:
    """Something up for review. crop: path of its picture."""
    first = None if item.history is None else item.history.first
    last = None if item.history is None else item.history.last
    verdict = item.verdict
    return ReviewRecord(
        vessel=item.vessel,
        subject=item.subject,
        suspect=item.key,
        urgency=item.urgency,
        standing=item.standing,
        why=item.why,
        where=item.where,
        first_seen_at=iso(item.since, zone),
        last_seen_at=None if last is None else iso(last.reading.taken_at, zone),
        score=rounded(item.score, 3) if item.suspect else None,
        worth=item.worth,
        first_area_cm2=None if first is None else rounded(first.area_cm2),
        area_cm2=rounded(item.area_cm2),
        growth_cm2_per_day=rounded(item.growth_cm2_per_day),
        photos_seen_in=None if item.history is None else len(item.history.sightings),
        watched=item.watched,
        verdict=None if verdict is None else verdict.verdict,
        verdict_by=None if verdict is None else verdict.by,
        verdict_at=None if verdict is None else iso(verdict.at, zone),
        verdict_note=None if verdict is None else verdict.note,
        photo=None if item.reading is None else item.reading.photo,
        crop=crop,
    )


def change_record(one: Change, zone: tzinfo | None) -> ChangeRecord:
    """How a vessel changed."""
    return ChangeRecord(
        what=one.what,
        vessel=one.vessel.id,
        percent_before=None if one.before is None else rounded(one.before.percent),
        percent=None if one.now is None else rounded(one.now.percent),
        ready_before_at=iso(one.ready_before, zone),
        ready_at=iso(one.ready_now, zone),
        to_look_at=tuple(item.why for item in one.fresh),
        picked_kg=round(one.picked_kg, 3),
    )


def batch_record(view: BatchView, zone: tzinfo | None) -> BatchRecord:
    """A batch at a glance."""
    low, middle, high = view.percent or (None, None, None)
    return BatchRecord(
        batch=view.batch,
        running=len(view.items),
        vessels=view.n_vessels,
        contaminated=view.n_contaminated,
        closed=view.n_closed,
        sections=dict(view.sections),
        percent_lowest=rounded(low),
        percent_middle=rounded(middle),
        percent_highest=rounded(high),
        first_ready_at=iso(view.first_ready, zone),
        first_inoculated_at=iso(view.inoculated[0], zone),
        last_inoculated_at=iso(view.inoculated[1], zone),
    )
