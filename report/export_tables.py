"""The tables of an export: each column with its type, unit, meaning, and the function that fills it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter
from typing import Any, Generic, Literal, TypeVar

from calibration import KINDS, USES
from farm.fruiting import list_harvests
from farm.outlook import Outlook, list_outlooks
from farm.records import list_events, list_readings, list_verdicts, list_vessels, notes_of
from farm.records.models import Event, Harvest, KeptReading, Note, Review, Suspect, Vessel
from farm.store import Farm

ColumnType = Literal["text", "number", "whole number", "moment", "yes or no"]
Row = TypeVar("Row")
Value = str | float | int | datetime | bool | None


@dataclass(frozen=True)
class ExportColumn(Generic[Row]):
    """A column. of: its value for a row; unit: "" if it has none."""

    name: str
    type: ColumnType
    unit: str
    meaning: str
    of: Callable[[Row], Value]


@dataclass(frozen=True)
class ExportTable(Generic[Row]):
    """A table. rows: its rows for a farm."""

    name: str
    meaning: str
    columns: tuple[ExportColumn[Row], ...]
    rows: Callable[[Farm], Iterable[Row]]


def _reading_key(reading: KeptReading) -> str:
    return f"{reading.photo_hash[:16]}-{reading.slot}"


def _readings(farm: Farm) -> list[KeptReading]:
    return [one for one in list_readings(farm) if one.taken_at <= farm.now]


def _suspects(farm: Farm) -> Iterable[tuple[KeptReading, Suspect]]:
    return ((reading, mark) for reading in _readings(farm) for mark in reading.suspects)


def _notes(farm: Farm) -> Iterable[Note]:
    return (note for vessel in list_vessels(farm) for note in notes_of(farm, vessel.id))


_C = ExportColumn


def _own(name: str, type_: ColumnType, unit: str, meaning: str) -> ExportColumn[Any]:
    """A column filled from the row's attribute of the same name."""
    return ExportColumn(name, type_, unit, meaning, attrgetter(name))


VESSELS = ExportTable[Vessel](
    "vessels",
    "One row for each vessel, closed ones too; `spawnrun vessel import` takes this table back.",
    (
        _C("vessel", "text", "", "id, as on the label", attrgetter("id")),
        _own("kind", "text", "", f"{', '.join(KINDS[:-1])} or {KINDS[-1]}"),
        _C("inoculated_at", "moment", "", "when spawn or culture went in", attrgetter("inoculated_at")),
        _own("species", "text", "", "species or strain"),
        _own("substrate", "text", "", "what it grows on"),
        _own("batch", "text", "", "vessels inoculated together share one"),
        _own("source", "text", "", "vessel or culture it was inoculated from"),
        _own("face_width_mm", "number", "mm", "of the visible face; empty: usual for the kind"),
        _own("face_height_mm", "number", "mm", "of the visible face; empty: usual for the kind"),
        _own("diameter_mm", "number", "mm", "outer; empty: usual for the kind"),
        _own("label_size", "text", "", "normal or small; empty: usual for the kind"),
        _own("label_place", "text", "", "on_face or below; empty: usual for the kind"),
        _own("temperature_c", "number", "C", "mean of its place; empty: not known"),
        _own("shelf", "text", "", "where it stands"),
        _own("use", "text", "", f"{', '.join(USES[:-1])} or {USES[-1]}; empty: as its substrate or its kind tells"),
        _own("contents_kg", "number", "kg", "wet weight of its grain or substrate; empty: usual for its kind"),
        _own("state", "text", "", "running, closed, contaminated or quarantined"),
        _own("closed_at", "moment", "", "when it was taken out of the lists"),
    ),
    list_vessels,
)
READINGS = ExportTable[KeptReading](
    "readings",
    "One row for each vessel seen in each photo.",
    (
        _C("reading", "text", "", "key of the reading", _reading_key),
        _own("vessel", "text", "", "id; empty if not identified"),
        _own("side", "text", "", "front or back of the vessel"),
        _own("kind", "text", "", "kind of the vessel"),
        _own("taken_at", "moment", "", "when the photo was taken"),
        _own("taken_from", "text", "", "source of that time: camera, file name or file time"),
        _own("status", "text", "", "ok, unusable or unidentified"),
        _own("reason", "text", "", "why there is no percent, and what to do"),
        _own("percent", "number", "%", "share of the visible face that is colonised"),
        _own("percent_low", "number", "%", "lower bound; the bounds are meant to hold the truth 80 times in 100"),
        _own("percent_high", "number", "%", "upper bound"),
        _own("percent_alone", "number", "%", "from this photo alone, without the vessel's other photos"),
        _own("hidden_percent", "number", "%", "share of the face under glare or condensation"),
        _own(
            "steep_percent", "number", "%", "share of a round wall's face inclined by more than 60 degrees to the view"
        ),
        _own("mm_per_px", "number", "mm", "scale of the photo"),
        _C("flags", "text", "", "quality flags by name, separated by spaces", lambda one: " ".join(one.flags)),
        _own("photo", "text", "", "path of the photo when it was measured"),
    ),
    _readings,
)
SUSPECTS = ExportTable[tuple[KeptReading, Suspect]](
    "suspects",
    "One row for each colour on a reading that may be contamination. A colour does not identify anything.",
    (
        _C("reading", "text", "", "key of the reading", lambda one: _reading_key(one[0])),
        _C("vessel", "text", "", "id", lambda one: one[0].vessel),
        _C("taken_at", "moment", "", "when the photo was taken", lambda one: one[0].taken_at),
        _C("colour", "text", "", "plain word", lambda one: one[1].colour),
        _C("area_cm2", "number", "cm2", "on the face", lambda one: one[1].area_cm2),
        _C("score", "number", "", "0 to 1, from this photo alone", lambda one: one[1].score),
        _C("left_px", "whole number", "px", "of its box in the photo", lambda one: one[1].box[0]),
        _C("top_px", "whole number", "px", "of its box in the photo", lambda one: one[1].box[1]),
        _C("width_px", "whole number", "px", "of its box in the photo", lambda one: one[1].box[2]),
        _C("height_px", "whole number", "px", "of its box in the photo", lambda one: one[1].box[3]),
    ),
    _suspects,
)
EVENTS = ExportTable[Event](
    "events",
    "What was done to vessels.",
    (
        _own("vessel", "text", "", "id"),
        _own("event", "text", "", "shaken, moved, opened, pins, spawned, transferred, thrown_out or spent"),
        _own("at", "moment", "", "when"),
        _own("why", "text", "", "the reason that was given"),
    ),
    list_events,
)
HARVESTS = ExportTable[Harvest](
    "harvests",
    "One row for each picking of a vessel; `spawnrun harvest --import` takes this table back.",
    (
        _own("vessel", "text", "", "id"),
        _own("at", "moment", "", "when it was picked"),
        _own("fresh_kg", "number", "kg", "fresh weight; of vessels weighed together, an equal share"),
        _own("flush", "whole number", "", "number of the flush, as a person said; empty: worked out"),
        _own("together", "text", "", "vessels that were weighed together; empty: it alone"),
    ),
    list_harvests,
)
NOTES = ExportTable[Note](
    "notes",
    "What people wrote about vessels.",
    (
        _own("vessel", "text", "", "id"),
        _own("at", "moment", "", "when it was written"),
        _own("text", "text", "", "the note"),
    ),
    _notes,
)
VERDICTS = ExportTable[Review](
    "verdicts",
    "People's verdicts on suspects, stalls and drops, including those taken back.",
    (
        _own("vessel", "text", "", "id"),
        _own("subject", "text", "", "a suspect's colour, stall or drop"),
        _own("verdict", "text", "", "confirmed, dismissed or watched"),
        _own("at", "moment", "", "when it was given"),
        _own("by", "text", "", "by whom"),
        _own("note", "text", "", "note given with it"),
        _own("area_cm2", "number", "cm2", "of the suspect at that time"),
        _C("undone", "yes or no", "", "whether it was taken back", lambda one: one.undone_at is not None),
    ),
    list_verdicts,
)
_DAY = "the interval from low to high is meant to hold 80 times in 100"
FORECASTS = ExportTable[Outlook](
    "forecasts",
    "One row for each vessel: when it is colonised through and ready, as of the time of the export.",
    (
        _C("vessel", "text", "", "id", attrgetter("vessel.id")),
        _C(
            "status",
            "text",
            "",
            "no readings, waiting, colonising, colonised, ready, stalled or dropped",
            attrgetter("forecast.status"),
        ),
        _C("percent_now", "number", "%", "of the curve, now", attrgetter("forecast.percent_now")),
        _C("percent_per_day", "number", "%", "for each day, now", attrgetter("forecast.percent_per_day")),
        _C(
            "through_median",
            "moment",
            "",
            "colonised through; empty if it cannot be forecast",
            attrgetter("through.median"),
        ),
        _C("through_low", "moment", "", f"early end; {_DAY}", attrgetter("through.low")),
        _C("through_high", "moment", "", "late end", attrgetter("through.high")),
        _C("ready_median", "moment", "", "ready for its next step: through, and rested", attrgetter("ready.median")),
        _C("ready_low", "moment", "", f"early end; {_DAY}", attrgetter("ready.low")),
        _C("ready_high", "moment", "", "late end", attrgetter("ready.high")),
        _C("notes", "text", "", "reasons and warnings", lambda one: "; ".join(one.forecast.notes)),
    ),
    list_outlooks,
)
EXPORT_TABLES: tuple[ExportTable[Any], ...] = (
    VESSELS,
    READINGS,
    SUSPECTS,
    EVENTS,
    HARVESTS,
    NOTES,
    VERDICTS,
    FORECASTS,
)
