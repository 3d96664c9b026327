"""The farm's records as tables, with their version.

Instants are UTC. A photo is known by the SHA-256 of its content, so the same picture is never counted twice.
"""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    VARCHAR,
    Boolean,
    Column,
    DateTime,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

#: Version of the tables below. History: 1, the first; 2, where faces and suspects lie, and verdicts taken back; 3, the
#: temperature of a vessel's place, and kept forecasts; 4, the side of a vessel, what turns away, signs beside colour,
#: the shelf, and verdicts on a reading; 5, what a vessel's readings come to, and how often they have changed; 6,
#: which chunks of its series have been read; 7, the priors that a fit of the whole farm has learned; 8,
#: what a vessel is for; 9, harvests, what a vessel holds, and why something was done; 10, how far was taken back.
SCHEMA_VERSION = 10

#: What brings records of an older version to the next one, by the version it leads to.
MIGRATIONS: dict[int, tuple[str, ...]] = {
    2: (
        "ALTER TABLE readings ADD COLUMN frame JSON",
        "ALTER TABLE reviews ADD COLUMN place JSON",
        "ALTER TABLE reviews ADD COLUMN undone_at DATETIME",
        "ALTER TABLE reviews ADD COLUMN undone_by VARCHAR NOT NULL DEFAULT ''",
    ),
    3: (
        "ALTER TABLE vessels ADD COLUMN temperature_c FLOAT",
        "CREATE TABLE forecasts"
        " (key VARCHAR(64) NOT NULL PRIMARY KEY, made_at DATETIME NOT NULL, answers TEXT NOT NULL)",
    ),
    4: (
        "ALTER TABLE vessels ADD COLUMN shelf VARCHAR NOT NULL DEFAULT ''",
        "ALTER TABLE readings ADD COLUMN side VARCHAR NOT NULL DEFAULT 'front'",
        "ALTER TABLE readings ADD COLUMN steep_percent FLOAT",
        "ALTER TABLE readings ADD COLUMN signs JSON NOT NULL DEFAULT '[]'",
        "ALTER TABLE reviews ADD COLUMN reading VARCHAR",
    ),
    5: (
        "ALTER TABLE vessels ADD COLUMN revision INTEGER NOT NULL DEFAULT 0",
        "ALTER TABLE vessels ADD COLUMN summary TEXT",
    ),
    6: ("ALTER TABLE vessels ADD COLUMN chapters TEXT",),
    7: (
        "ALTER TABLE forecasts ADD COLUMN base VARCHAR(64)",
        "ALTER TABLE forecasts ADD COLUMN batches TEXT",
        "ALTER TABLE forecasts ADD COLUMN whole VARCHAR(64)",
        "ALTER TABLE forecasts ADD COLUMN taught BLOB",
    ),
    8: ("ALTER TABLE vessels ADD COLUMN use VARCHAR",),
    9: (
        "ALTER TABLE vessels ADD COLUMN contents_kg FLOAT",
        "ALTER TABLE events ADD COLUMN why VARCHAR NOT NULL DEFAULT ''",
        "CREATE TABLE harvests (id INTEGER NOT NULL PRIMARY KEY, vessel VARCHAR(16) NOT NULL REFERENCES vessels (id),"
        " at DATETIME NOT NULL, fresh_kg FLOAT NOT NULL, flush INTEGER, together VARCHAR NOT NULL DEFAULT '',"
        " UNIQUE (vessel, at))",
    ),
    10: ("ALTER TABLE vessels ADD COLUMN taken_back JSON",),
}

_IN_POSTGRESQL = {
    " DATETIME": " TIMESTAMP WITH TIME ZONE",
    " BLOB": " BYTEA",
    " INTEGER NOT NULL PRIMARY KEY": " SERIAL PRIMARY KEY",
    " VARCHAR(16)": ' VARCHAR(16) COLLATE "C"',
}


def in_dialect(statement: str, dialect: str) -> str:
    """A statement of MIGRATIONS as the database says it.

    PostgreSQL has other names for a moment, for bytes and for a number that it counts itself, and orders the ids of
    vessels by the rules of a language unless it is told otherwise.
    """
    if dialect != "postgresql":
        return statement
    for name, own in _IN_POSTGRESQL.items():
        statement = statement.replace(name, own)
    return statement


class Instant(TypeDecorator[datetime]):
    """An aware datetime, kept in UTC also where the database knows no time zones."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """UTC; without its zone for SQLite, which would drop it."""
        if value is None:
            return None
        instant = value.astimezone(UTC)
        return instant.replace(tzinfo=None) if dialect.name == "sqlite" else instant

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:  # noqa: ANN401
        """Aware, in UTC."""
        if value is None:
            return None
        instant: datetime = value.replace(tzinfo=UTC) if dialect.name == "sqlite" else value.astimezone(UTC)
        return instant


tables = MetaData()

#: Sorted by its signs, not by the rules of a language, on every database: lists then have one order.
VesselId = String(16).with_variant(VARCHAR(16, collation="C"), "postgresql")

meta = Table(
    "meta",
    tables,
    Column("key", String, primary_key=True, comment="schema_version, program_version, made_at, identity"),
    Column("value", String, nullable=False),
)

vessels = Table(
    "vessels",
    tables,
    Column("id", VesselId, primary_key=True, comment="as on the label"),
    Column("kind", String, nullable=False),
    Column("species", String, nullable=False, default=""),
    Column("substrate", String, nullable=False, default=""),
    Column("inoculated_at", Instant, nullable=False),
    Column("batch", String, nullable=False, default="", comment="vessels inoculated together"),
    Column("source", String, nullable=False, default="", comment="the vessel or culture it was inoculated from"),
    Column("face_width_mm", Float),
    Column("face_height_mm", Float),
    Column("diameter_mm", Float),
    Column("label_size", String),
    Column("label_place", String),
    Column("temperature_c", Float, comment="mean of the place it stands in"),
    Column("shelf", String, nullable=False, default="", comment="where it stands"),
    Column("use", String, comment="culture, spawn or fruiting; empty: as its substrate or its kind tells"),
    Column("contents_kg", Float, comment="wet weight of its grain or substrate; empty: usual for its kind"),
    Column("state", String, nullable=False, default="running", comment="running, closed, contaminated or quarantined"),
    Column("closed_at", Instant),
    Column("series_stale", Boolean, nullable=False, default=False, comment="its series must be read again"),
    Column("revision", Integer, nullable=False, default=0, comment="counts the changes of its readings"),
    Column("chapters", Text, comment="how far its series has been read: SIDE:KEY, with spaces between"),
    Column(
        "summary",
        Text,
        comment="summary of its readings (farm/outlook/vessel_summary.py); empty: to be made again",
    ),
    Column(
        "taken_back",
        JSON,
        comment="after the last undo of its steps, harvests, notes: number of the newest that was left, 0 for none",
    ),
)

notes = Table(
    "notes",
    tables,
    Column("id", Integer, primary_key=True),
    Column("vessel", ForeignKey("vessels.id"), nullable=False, index=True),
    Column("at", Instant, nullable=False),
    Column("text", Text, nullable=False),
)

events = Table(
    "events",
    tables,
    Column("id", Integer, primary_key=True),
    Column("vessel", ForeignKey("vessels.id"), nullable=False),
    Column("event", String, nullable=False, comment="one of farm.records.tables.EventName"),
    Column("at", Instant, nullable=False),
    Column("why", String, nullable=False, default="", comment="the reason that was given"),
    UniqueConstraint("vessel", "event", "at"),
)

harvests = Table(
    "harvests",
    tables,
    Column("id", Integer, primary_key=True, comment="in the order of entry"),
    Column("vessel", ForeignKey("vessels.id"), nullable=False),
    Column("at", Instant, nullable=False, comment="when it was picked"),
    Column("fresh_kg", Float, nullable=False, comment="fresh weight; of vessels weighed together, an equal share"),
    Column("flush", Integer, comment="number of the flush, as a person said; empty: worked out from the days between"),
    Column("together", String, nullable=False, default="", comment="vessels weighed together; empty: it alone"),
    UniqueConstraint("vessel", "at"),
)

photos = Table(
    "photos",
    tables,
    Column("hash", String(64), primary_key=True, comment="SHA-256 of the file's content"),
    Column("path", Text, nullable=False, comment="where it lay when measured"),
    Column("taken_at", Instant, nullable=False),
    Column("taken_from", String, nullable=False, comment="camera, file name or file time"),
    Column("height_px", Integer, comment="upright; empty where the file is no picture"),
    Column("width_px", Integer),
    Column("measured_at", Instant, nullable=False),
    Column("program", String, nullable=False, comment="version that measured it"),
)

readings = Table(
    "readings",
    tables,
    Column("photo", ForeignKey("photos.hash", ondelete="CASCADE"), primary_key=True),
    Column("slot", Integer, primary_key=True, comment="which of the photo's vessels, from 0"),
    Column("vessel", String, comment="empty where it is unknown; may be an id that is not in the farm"),
    Column("side", String, nullable=False, default="front", comment="front or back of the vessel"),
    Column("kind", String),
    Column("status", String, nullable=False, comment="ok, unusable or unidentified"),
    Column("reason", Text, nullable=False, default=""),
    Column("percent", Float, comment="as read in the vessel's series, so are the bounds"),
    Column("percent_low", Float),
    Column("percent_high", Float),
    Column("hidden_percent", Float),
    Column("steep_percent", Float, comment="share of a round wall's face that turns away by more than 60 degrees"),
    Column("mm_per_px", Float),
    Column("face_box", JSON, comment="left, top, width, height in photo pixels"),
    Column("suspects", JSON, nullable=False),
    Column("signs", JSON, nullable=False, default=list, comment="signs beside colour: name, box, area_cm2"),
    Column("flags", JSON, nullable=False),
    Column("alone", JSON, nullable=False, comment="the reading as made from this photo alone"),
    Column("has_face", Boolean, nullable=False, comment="faces/<hash>-<slot>.face is kept"),
    Column("frame", JSON, comment="to_photo and px_per_mm of the face; empty where none is kept"),
    Index("readings_by_vessel", "vessel"),
)

forecasts = Table(
    "forecasts",
    tables,
    Column("key", String(64), primary_key=True, comment="SHA-256 of all that enters the forecasts of the farm"),
    Column("made_at", Instant, nullable=False),
    Column(
        "answers",
        Text,
        nullable=False,
        comment="JSON; of a set that rests on a whole fit only those that differ from it",
    ),
    Column(
        "base", String(64), comment="SHA-256 of the program and the settings; empty for a small farm, as what follows"
    ),
    Column("batches", Text, comment="by batch a digest of what entered, as JSON"),
    Column("whole", String(64), comment="key of the fit of the whole farm that they rest on; its own if it is one"),
    Column("taught", LargeBinary, comment="the priors that such a fit has learned (growth.LearnedPriors)"),
)

reviews = Table(
    "reviews",
    tables,
    Column("id", Integer, primary_key=True),
    Column("vessel", ForeignKey("vessels.id"), nullable=False, index=True),
    Column("subject", String, nullable=False, comment="a suspect's colour, or another word of farm.records"),
    Column("verdict", String, nullable=False, comment="confirmed, dismissed or watched"),
    Column("area_cm2", Float, comment="of the suspect when the verdict was given"),
    Column("at", Instant, nullable=False),
    Column("by", String, nullable=False, default=""),
    Column("note", Text, nullable=False, default=""),
    Column("place", JSON, comment="of the suspect, mm: anchor, left_mm, top_mm, width_mm, height_mm, side"),
    Column("reading", String, comment="the reading that is judged: hash of its photo, and slot"),
    Column("undone_at", Instant, comment="when the verdict was taken back"),
    Column("undone_by", String, nullable=False, default=""),
)
