"""Records as the lists print them: plain dictionaries with stable keys, times on the farm's clock."""

from dataclasses import asdict
from datetime import tzinfo
from typing import Any

from cli.render import Record
from farm.lists import BatchView, Change, TodayItem
from farm.outlook import Outlook
from farm.records.models import KeptReading, Vessel
from farm.review import ReviewItem
from farm.store import iso
from farm.study import Kin
from farm.upkeep import Damage


def reading_record(reading: KeptReading, zone: tzinfo | None) -> Record:
    """A reading as `spawnrun measure` prints it."""
    return {
        "photo": reading.photo,
        "taken_at": iso(reading.taken_at, zone),
        "vessel": reading.vessel,
        "side": reading.side,
        "kind": reading.kind,
        "status": reading.status,
        "reason": reading.reason,
        "percent": rounded(reading.percent),
        "percent_low": rounded(reading.percent_low),
        "percent_high": rounded(reading.percent_high),
        "hidden_percent": rounded(reading.hidden_percent),
        "steep_percent": rounded(reading.steep_percent),
        "mm_per_px": rounded(reading.mm_per_px, 4),
        "face_box": None if reading.face_box is None else list(reading.face_box),
        "suspects": [
            {
                "colour": mark.colour,
                "area_cm2": rounded(mark.area_cm2),
                "box": list(mark.box),
                "score": rounded(mark.score, 3),
                "own_colour": mark.own_colour,
            }
            for mark in reading.suspects
        ],
        "signs": [
            {"name": sign.name, "area_cm2": rounded(sign.area_cm2), "box": list(sign.box)} for sign in reading.signs
        ],
        "flags": list(reading.flags),
        "percent_alone": rounded(reading.percent_alone),
        "taken_from": reading.taken_from,
    }


def vessel_record(vessel: Vessel, zone: tzinfo | None) -> Record:
    """A vessel as `spawnrun vessel list` prints it."""
    return {
        "id": vessel.id,
        "kind": vessel.kind,
        "species": vessel.species,
        "substrate": vessel.substrate,
        "inoculated": iso(vessel.inoculated_at, zone),
        "batch": vessel.batch,
        "source": vessel.source,
        "face_width_mm": vessel.face_width_mm,
        "face_height_mm": vessel.face_height_mm,
        "diameter_mm": vessel.diameter_mm,
        "label_size": vessel.label_size,
        "label_place": vessel.label_place,
        "temperature_c": vessel.temperature_c,
        "shelf": vessel.shelf,
        "state": vessel.state,
        "closed_at": iso(vessel.closed_at, zone),
    }


def today_record(item: TodayItem, zone: tzinfo | None) -> Record:
    """A line of `spawnrun ready`."""
    outlook, vessel, last = item.outlook, item.outlook.vessel, item.outlook.last
    return {
        "section": item.section,
        "vessel": vessel.id,
        "kind": vessel.kind,
        "species": vessel.species,
        "batch": vessel.batch,
        "status": outlook.forecast.status,
        "percent": None if last is None else rounded(last.percent),
        "percent_low": None if last is None else rounded(last.percent_low),
        "percent_high": None if last is None else rounded(last.percent_high),
        "last_photo_at": None if last is None else iso(last.taken_at, zone),
        **moments_record(outlook, zone),
        "next_step": item.next_step,
        "marks": list(item.marks),
        "flags": [] if last is None else list(last.flags),
        "notes": list(outlook.forecast.notes),
    }


def moments_record(outlook: Outlook, zone: tzinfo | None) -> dict[str, Any]:
    """When the vessel is colonised through and when it is ready."""
    return {
        "through_median": iso(outlook.through.median, zone),
        "through_low": iso(outlook.through.low, zone),
        "through_high": iso(outlook.through.high, zone),
        "ready_median": iso(outlook.ready.median, zone),
        "ready_low": iso(outlook.ready.low, zone),
        "ready_high": iso(outlook.ready.high, zone),
    }


def review_record(item: ReviewItem, crop: str | None, zone: tzinfo | None) -> Record:
    """A line of `spawnrun review list`."""
    first = None if item.history is None else item.history.photos[0]
    last = None if item.history is None else item.history.last
    verdict = item.verdict
    return {
        "vessel": item.vessel,
        "subject": item.subject,
        "suspect": item.key,
        "urgency": item.urgency,
        "standing": item.standing,
        "why": item.why,
        "where": item.where,
        "since": iso(item.since, zone),
        "last_seen": None if last is None else iso(last.reading.taken_at, zone),
        "score": rounded(item.score, 3) if item.suspect else None,
        "worth": item.worth,
        "first_area_cm2": None if first is None else rounded(first.area_cm2),
        "area_cm2": rounded(item.area_cm2),
        "growth_cm2_per_day": rounded(item.growth_cm2_per_day),
        "photos_seen_in": None if item.history is None else len(item.history.photos),
        "watched": item.watched,
        "verdict": None if verdict is None else verdict.verdict,
        "verdict_by": None if verdict is None else verdict.by,
        "verdict_at": None if verdict is None else iso(verdict.at, zone),
        "verdict_note": None if verdict is None else verdict.note,
        "photo": None if item.reading is None else item.reading.photo,
        "crop": crop,
    }


def kin_record(kin: Kin, zone: tzinfo | None) -> Record:
    """A vessel of `spawnrun trace`."""
    return {
        "relation": "above" if kin.steps < 0 else "below" if kin.steps > 0 else "sibling",
        "steps": kin.steps,
        "shares": list(kin.shares),
        "vessel": kin.vessel.id,
        "kind": kin.vessel.kind,
        "source": kin.vessel.source,
        "batch": kin.vessel.batch,
        "shelf": kin.vessel.shelf,
        "inoculated": iso(kin.vessel.inoculated_at, zone),
        "state": kin.vessel.state,
        "contaminated": kin.contaminated,
    }


def change_record(one: Change, zone: tzinfo | None) -> Record:
    """A change of `spawnrun report`."""
    return {
        "what": one.what,
        "vessel": one.vessel.id,
        "percent_before": None if one.before is None else rounded(one.before.percent),
        "percent": None if one.now is None else rounded(one.now.percent),
        "ready_before": iso(one.ready_before, zone),
        "ready": iso(one.ready_now, zone),
        "to_look_at": [item.why for item in one.fresh],
    }


def batch_record(view: BatchView, zone: tzinfo | None) -> Record:
    """A batch of `spawnrun report`."""
    low, middle, high = view.percent or (None, None, None)
    return {
        "batch": view.batch,
        "running": len(view.items),
        "vessels": view.n_vessels,
        "contaminated": view.n_contaminated,
        "closed": view.n_closed,
        "sections": dict(view.sections),
        "percent_lowest": rounded(low),
        "percent_middle": rounded(middle),
        "percent_highest": rounded(high),
        "first_ready": iso(view.first_ready, zone),
        "inoculated_first": iso(view.inoculated[0], zone),
        "inoculated_last": iso(view.inoculated[1], zone),
    }


def rounded(number: float | None, digits: int = 2) -> float | None:
    """The number without digits that mean nothing; None stays None."""
    return None if number is None else round(float(number), digits)


def damage_record(damage: Damage) -> Record:
    """What `spawnrun check` found."""
    return asdict(damage)
