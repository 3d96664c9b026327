"""A large invented farm; its records are written directly to the tables, without photos."""

import hashlib
import math
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import insert

from farm.records import add_vessels, list_vessels
from farm.records.models import Vessel
from farm.store import Farm, create_farm
from farm.store.schema import photos, readings
from farm.store.staleness import mark_stale

#: The present time of the farm; the newest photos are of this day.
NOW = datetime(2026, 3, 28, 18, tzinfo=UTC)
VESSELS_A_PHOTO = 8
_KINDS = (
    ("bag", "oyster", "sawdust", 12.0),
    ("jar", "oyster", "rye grain", 9.0),
    ("bag", "lion's mane", "sawdust", 15.0),
    ("block", "shiitake", "sawdust", 20.0),
)
#: One vessel in this many has a suspect patch.
_SPOTTED = 25


def make_big_farm(folder: Path, n_vessels: int, n_each: int, *, records: str = "") -> Farm:
    """A farm with running vessels and readings of each, eight vessels to a photo."""
    farm = create_farm(folder, records=records)
    settings = folder / "farm.toml"
    settings.write_text(settings.read_text().replace('as_of = ""', f'as_of = "{NOW.isoformat()}"'))
    vessels = [_vessel(n) for n in range(n_vessels)]
    add_vessels(farm, vessels)
    rng = random.Random(7)
    for start in range(0, n_vessels, VESSELS_A_PHOTO):
        shelf = vessels[start : start + VESSELS_A_PHOTO]
        rows = list(_shelf(shelf, start, n_each, rng))
        with farm.writing() as connection:
            connection.execute(insert(photos), [photo for photo, _ in rows])
            connection.execute(insert(readings), [one for _, some in rows for one in some])
    return farm


def add_photo(farm: Farm, shelf: int, taken_at: datetime) -> None:
    """Add one more photo of a shelf's eight vessels, as a run would store it."""
    ids = {f"V{shelf * VESSELS_A_PHOTO + place:05}" for place in range(VESSELS_A_PHOTO)}
    some = [one for one in list_vessels(farm) if one.id in ids]
    rng = random.Random(shelf)
    photo = _photo(f"{shelf}/{taken_at}", f"photos/late-{shelf:05}.jpg", taken_at)
    rows = [_reading(one, slot, photo["hash"], taken_at, 8.0, rng) for slot, one in enumerate(some)]
    with farm.writing() as connection:
        connection.execute(insert(photos), [photo])
        connection.execute(insert(readings), rows)
        mark_stale(connection, [one.id for one in some])


def _vessel(number: int) -> Vessel:
    kind, species, substrate, _ = _KINDS[(number // 40) % len(_KINDS)]
    begun = NOW - timedelta(days=4 + (number // 40 * 7) % 20, hours=number % 5)
    return Vessel(f"V{number:05}", kind, begun, species, substrate, batch=f"BATCH-{number // 40:03}")


def _shelf(
    shelf: list[Vessel], start: int, n_each: int, rng: random.Random
) -> Iterator[tuple[dict[str, Any], list[dict[str, Any]]]]:
    middle = {one.id: rng.gauss(_KINDS[(start // 40) % len(_KINDS)][3] * 0.6, 1.0) for one in shelf}
    for n in range(n_each):
        begun = max(one.inoculated_at for one in shelf)
        taken_at = begun + (NOW - begun) * ((n + 1) / (n_each + 1))
        photo = _photo(f"{start}/{n}", f"photos/{start:05}/{n:03}.jpg", taken_at)
        middles = ((slot, one, middle[one.id]) for slot, one in enumerate(shelf))
        yield photo, [_reading(one, slot, photo["hash"], taken_at, at, rng) for slot, one, at in middles]


def _photo(content: str, path: str, taken_at: datetime) -> dict[str, Any]:
    return {
        "hash": hashlib.sha256(content.encode()).hexdigest(),
        "path": path,
        "taken_at": taken_at,
        "taken_from": "camera",
        "height_px": 3000,
        "width_px": 4000,
        "measured_at": taken_at,
        "program": "0.1.0",
    }


def _reading(
    vessel: Vessel, slot: int, photo_hash: str, taken_at: datetime, middle: float, rng: random.Random
) -> dict[str, Any]:
    day = (taken_at - vessel.inoculated_at) / timedelta(days=1)
    share = 100 / (1 + math.exp(-(day - middle) / 1.3))
    percent = min(100.0, max(0.0, share + rng.gauss(0, 1.0)))
    box = [100 + 450 * slot, 600, 420, 900]
    is_spotted = int(vessel.id[1:]) % _SPOTTED == 0 and day > 4
    mark = {"colour": "green", "area_cm2": round(0.4 * (day - 3.5), 2), "box": [*box[:2], 60, 60], "score": 0.7}
    facts: dict[str, Any] = {
        "vessel": vessel.id,
        "kind": vessel.kind,
        "status": "ok",
        "reason": "",
        "percent": percent,
        "percent_low": max(0.0, percent - 3),
        "percent_high": min(100.0, percent + 3),
        "hidden_percent": 2.0,
        "mm_per_px": 0.4,
        "face_box": box,
        "suspects": [mark | {"own_colour": False}] if is_spotted else [],
        "flags": ["glare"] if slot == 0 else [],
        "side": "front",
        "steep_percent": None,
        "signs": [],
    }
    frame = {"to_photo": [[2.5, 0.0, box[0]], [0.0, 2.5, box[1]], [0.0, 0.0, 1.0]], "px_per_mm": 3.0}
    return facts | {"photo": photo_hash, "slot": slot, "alone": facts, "has_face": False, "frame": frame}
