"""Vessels, readings and outlooks written by hand, so that a test defines what each day shows."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from math import cos, radians, sin
from typing import Any

from farm.outlook import Moments, Outlook, what_is_seen
from farm.records.models import FaceFrame, KeptReading, State, Suspect, Vessel
from farm.review import ReviewItem, review_items
from farm.store import Farm
from growth.data import Forecast
from growth.data.models import Status

START = datetime(2026, 3, 1, 8, tzinfo=UTC)
NOWHERE = Moments(None, None, None)


def frame(shift: tuple[float, float] = (0.0, 0.0), turn_degrees: float = 0.0, px_per_mm: float = 3.0) -> FaceFrame:
    """A face frame with half a photo pixel per face pixel, shifted and rotated like by a moving camera."""
    across, down = 0.5 * cos(radians(turn_degrees)), 0.5 * sin(radians(turn_degrees))
    return FaceFrame(((across, -down, shift[0]), (down, across, shift[1]), (0.0, 0.0, 1.0)), px_per_mm)


def at_mm(of: FaceFrame, left: float, top: float, side: float) -> tuple[int, int, int, int]:
    """The box in photo pixels of a square of the face, mm (for frames that are hardly rotated)."""
    (a, b, c), (d, e, f), _ = of.to_photo
    x, y = (left + side / 2) * of.px_per_mm, (top + side / 2) * of.px_per_mm
    middle = (a * x + b * y + c, d * x + e * y + f)
    half = side * of.px_per_mm * 0.25
    return round(middle[0] - half), round(middle[1] - half), round(2 * half), round(2 * half)


def mark(box: tuple[int, int, int, int], area_cm2: float = 1.0, colour: str = "green", score: float = 0.9) -> Suspect:
    return Suspect(colour, area_cm2, box, score)


def reading(
    day: float,
    *suspects: Suspect,
    on: FaceFrame | None = None,
    percent: float = 40.0,
    hidden: float = 0.0,
    flags: tuple[str, ...] = (),
    face_box: tuple[int, int, int, int] = (0, 0, 300, 360),
) -> KeptReading:
    return KeptReading(
        photo=f"{day}.jpg",
        photo_hash=f"{day}",
        slot=0,
        taken_at=START + timedelta(days=day),
        taken_from="camera",
        status="ok",
        vessel="B001",
        kind="bag",
        percent=percent,
        hidden_percent=hidden,
        mm_per_px=2 / 3,
        face_box=face_box,
        suspects=suspects,
        flags=flags,
        has_face=on is not None,
        frame=on,
    )


def vessel(kind: str = "bag", species: str = "", state: State = "running", **facts: Any) -> Vessel:
    return Vessel(facts.pop("id", "B001"), kind, START, species=species, state=state, **facts)


@dataclass(frozen=True)
class SeenOutlook(Outlook):
    """An outlook with readings written by hand, without a farm. faces: what is up for review is made of them."""

    faces: tuple[KeptReading, ...] = ()


def outlook(of: Vessel, *readings: KeptReading, status: Status = "colonising") -> SeenOutlook:
    last = readings[-1] if readings else None
    forecast = Forecast(of.id, status)
    return SeenOutlook(of, (), forecast, NOWHERE, NOWHERE, last, n_readings=len(readings), faces=readings)


def review_seen(farm: Farm, outlooks: Sequence[SeenOutlook], *, everything: bool = False) -> list[ReviewItem]:
    """The review items of outlooks written by hand."""
    seen = [replace(one, seen=what_is_seen(one.vessel, one.faces, one.shaken_at)) for one in outlooks]
    return review_items(farm, seen, everything=everything)
