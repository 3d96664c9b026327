"""What lists print of readings, vessels and moments: frozen records whose fields are the keys of JSON and CSV.

Moments are ISO 8601 texts of the farm's clock. ``cli.schemas`` makes the schemas in docs/schemas/ of these types.
"""

from dataclasses import dataclass
from datetime import tzinfo
from typing import Literal

from calibration import Kind, LabelPlace, LabelSize, Side, Use
from farm.fruiting import fruiting_lives, vessel_yields
from farm.lists import fruiting_mark
from farm.outlook import Outlook
from farm.records.models import Harvest, KeptReading, State, TakenFrom, Vessel
from farm.store import Farm, iso

#: left, top, width, height in pixels of the photo.
Box = tuple[int, int, int, int]


@dataclass(frozen=True)
class SuspectRecord:
    """A suspect on a reading: a patch in a colour that may be contamination. score: 0-1, from this photo alone."""

    colour: str
    area_cm2: float
    box: Box
    score: float
    own_colour: bool


@dataclass(frozen=True)
class SignRecord:
    """A sign beside colour on a reading."""

    name: str
    area_cm2: float
    box: Box


@dataclass(frozen=True)
class ReadingRecord:
    """A reading of `spawnrun measure` and `spawnrun vessel show`. Percents are 0-100, bounds 80 %."""

    photo: str
    taken_at: str
    vessel: str | None
    side: Side | Literal["both"]
    kind: Kind | None
    status: str
    reason: str
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    hidden_percent: float | None
    steep_percent: float | None
    mm_per_px: float | None
    face_box: Box | None
    suspects: tuple[SuspectRecord, ...]
    signs: tuple[SignRecord, ...]
    flags: tuple[str, ...]
    percent_alone: float | None
    taken_from: TakenFrom


@dataclass(frozen=True)
class VesselRecord:
    """A vessel of `spawnrun vessel list`. use: of its record; used_for: by that, its substrate or its kind."""

    vessel: str
    kind: Kind
    species: str
    substrate: str
    inoculated_at: str
    batch: str
    source: str
    face_width_mm: float | None
    face_height_mm: float | None
    diameter_mm: float | None
    label_size: LabelSize | None
    label_place: LabelPlace | None
    temperature_c: float | None
    shelf: str
    use: Use | None
    used_for: Use
    contents_kg: float | None
    state: State
    closed_at: str | None


@dataclass(frozen=True)
class MomentsRecord:
    """When a vessel is colonised through and when it is ready: median and 80 % interval."""

    through_median: str | None
    through_low: str | None
    through_high: str | None
    ready_median: str | None
    ready_low: str | None
    ready_high: str | None


def reading_record(reading: KeptReading, zone: tzinfo | None) -> ReadingRecord:
    """A reading as it is printed."""
    return ReadingRecord(
        photo=reading.photo,
        taken_at=iso(reading.taken_at, zone),
        vessel=reading.vessel,
        side=reading.side,
        kind=reading.kind,
        status=reading.status,
        reason=reading.reason,
        percent=rounded(reading.percent),
        percent_low=rounded(reading.percent_low),
        percent_high=rounded(reading.percent_high),
        hidden_percent=rounded(reading.hidden_percent),
        steep_percent=rounded(reading.steep_percent),
        mm_per_px=rounded(reading.mm_per_px, 4),
        face_box=reading.face_box,
        suspects=tuple(
            SuspectRecord(one.colour, round(one.area_cm2, 2), one.box, round(one.score, 3), one.own_colour)
            for one in reading.suspects
        ),
        signs=tuple(SignRecord(one.name, round(one.area_cm2, 2), one.box) for one in reading.signs),
        flags=reading.flags,
        percent_alone=rounded(reading.percent_alone),
        taken_from=reading.taken_from,
    )


def vessel_record(vessel: Vessel, zone: tzinfo | None) -> VesselRecord:
    """A vessel as it is printed."""
    return VesselRecord(
        vessel=vessel.id,
        kind=vessel.kind,
        species=vessel.species,
        substrate=vessel.substrate,
        inoculated_at=iso(vessel.inoculated_at, zone),
        batch=vessel.batch,
        source=vessel.source,
        face_width_mm=vessel.face_width_mm,
        face_height_mm=vessel.face_height_mm,
        diameter_mm=vessel.diameter_mm,
        label_size=vessel.label_size,
        label_place=vessel.label_place,
        temperature_c=vessel.temperature_c,
        shelf=vessel.shelf,
        use=vessel.use,
        used_for=vessel.used_for,
        contents_kg=rounded(vessel.contents_kg, 3),
        state=vessel.state,
        closed_at=iso(vessel.closed_at, zone),
    )


def moments_record(outlook: Outlook, zone: tzinfo | None) -> MomentsRecord:
    """When the vessel is colonised through and when it is ready."""
    through, ready = outlook.through, outlook.ready
    return MomentsRecord(
        through_median=iso(through.median, zone),
        through_low=iso(through.low, zone),
        through_high=iso(through.high, zone),
        ready_median=iso(ready.median, zone),
        ready_low=iso(ready.low, zone),
        ready_high=iso(ready.high, zone),
    )


def harvest_words(harvest: Harvest, farm: Farm) -> str:
    """The weight of a harvest, and what was said of it."""
    said = [f"flush {harvest.flush}"] if harvest.flush else []
    said += [f"an equal share of {harvest.together}"] if harvest.together else []
    return farm.units.weight(harvest.fresh_kg) + (f" ({', '.join(said)})" if said else "")


def fruiting_lines(farm: Farm, vessel: Vessel) -> list[str]:
    """How far a vessel is that fruits, and what it has yielded; [] for others."""
    life = fruiting_lives(farm, [vessel]).get(vessel.id)
    lines = [] if life is None or vessel.state != "running" else [f"fruiting        {fruiting_mark(life, farm.zone)}"]
    for one in vessel_yields(farm, [vessel]):
        if one.fresh_kg > 0:
            percent = one.efficiency_percent
            said = "" if percent is None else f", {percent:.0f} % of the dry weight of its substrate"
            flushes = f"{len(one.flush_kg)} flush{'es' * (len(one.flush_kg) != 1)}"
            lines.append(f"yield           {farm.units.weight(one.fresh_kg)} in {flushes}{said}")
    return lines


def rounded(number: float | None, digits: int = 2) -> float | None:
    """The number without digits that mean nothing; None stays None."""
    return None if number is None else round(float(number), digits)
