"""A farm folder: made, found, opened, and its records read and written."""

import json
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Self
from uuid import uuid4

from sqlalchemy import Connection, Engine, insert, inspect, select

from calibration import Species, own_species
from farm.store.clock import CLOCK_SLACK, now, time_zone, to_instant
from farm.store.database import plain_faults, sqlite_engine, transaction
from farm.store.errors import FarmExistsError, FarmShutError, NotAFarmError, SettingsError, SpawnrunError
from farm.store.output_file import output_file
from farm.store.postgresql import is_on_server, refuse_password, server_engine
from farm.store.program import program_version
from farm.store.record_version import check_version, refuse_newer
from farm.store.safe_copy import is_unused
from farm.store.schema import SCHEMA_VERSION, meta, tables, vessels
from farm.store.settings import SETTINGS_FILE, TEMPLATE, Settings, load_settings
from farm.store.units import Units

RECORDS_FILE = "records.sqlite"
#: A folder with this file holds the program's output; `measure` takes no photos from it.
OUTPUT_MARK = ".spawnrun-output"
#: The settings of a farm that is being made; they get their name when its records are there.
_HALF_MADE = ".farm.toml.half-made"


@dataclass(frozen=True)
class Farm:
    """An open farm: its folder, its records and its settings. Close it, or use it in a `with`.

    known_at: lists have only what had been said by then (verdicts, closings, new vessels); None: all of it.
    """

    folder: Path
    engine: Engine
    settings: Settings
    known_at: datetime | None = None

    @cached_property
    def zone(self) -> tzinfo | None:
        """Zone of the farm's clock; None is the machine's."""
        return time_zone(self.settings.time_zone)

    @cached_property
    def units(self) -> Units:
        """The units that the farm shows and reads."""
        return Units(**self.settings.units.model_dump())

    @cached_property
    def own_species(self) -> dict[str, Species]:
        """What this farm sets in place of the species table or beside it, by key."""
        return own_species(self.settings.species)

    @property
    def now(self) -> datetime:
        """The moment that lists and forecasts are made for: the present, or the settings' as_of."""
        return now() if self.settings.as_of is None else to_instant(self.settings.as_of, self.zone)

    def has_not_come(self, moment: datetime) -> bool:
        """Whether a moment is later than the farm's now and this machine's clock, by more than clocks differ."""
        return moment > max(self.now, now()) + CLOCK_SLACK

    def at(self, moment: datetime | None) -> "Farm":
        """The same farm at another moment; None changes nothing."""
        if moment is None:
            return self
        return replace(self, settings=self.settings.model_copy(update={"as_of": moment}))

    def as_known_at(self, moment: datetime | None) -> "Farm":
        """The same farm at another moment, without what was said of it later; None changes nothing."""
        return self if moment is None else replace(self.at(moment), known_at=moment)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection for looking only."""
        with plain_faults(self.folder / RECORDS_FILE), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction: all of it is kept, or none."""
        with plain_faults(self.folder / RECORDS_FILE), transaction(self.engine) as connection:
            yield connection

    def close(self) -> None:
        """Let go of the records."""
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()


def create_farm(folder: Path, *, records: str = "") -> Farm:
    """Make a farm folder (settings file and records). Raises FarmExistsError where one stands already.

    records: address of a PostgreSQL database for its records, "" keeps them in the folder. What an earlier call has
    left that was cut short is taken up.
    """
    settings, half_made = folder / SETTINGS_FILE, folder / _HALF_MADE
    if settings.exists():
        raise FarmExistsError(f"{folder} is a farm already")
    if (folder / RECORDS_FILE).exists() and not half_made.exists() and not is_unused(folder / RECORDS_FILE):
        raise FarmExistsError(
            f"{folder} has a farm's records, but no {SETTINGS_FILE}: put it back, or make an empty file of that name"
        )
    if records:
        refuse_password(records)
    kept = records
    content = TEMPLATE.replace('records = ""', f"records = {json.dumps(kept)}")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        is_taken_up = half_made.exists() and half_made.read_text("utf-8") == content
        replace_file(half_made, content.encode())
        engine = _engine(folder, records)
        with _let_go_if_it_fails(engine):
            _make_tables(folder, engine, is_taken_up=is_taken_up or not records)
        half_made.replace(settings)
    except OSError as error:
        raise FarmShutError(f"{folder}: cannot make a farm here: {error.strerror or error}") from None
    except SpawnrunError:
        half_made.unlink(missing_ok=True)
        raise
    return Farm(folder, engine, load_settings(folder))


def _make_tables(folder: Path, engine: Engine, *, is_taken_up: bool) -> None:
    with plain_faults(folder / RECORDS_FILE), transaction(engine) as connection:
        if inspect(connection).has_table(meta.name):
            if is_taken_up and connection.scalar(select(vessels.c.id).limit(1)) is None:
                return
            raise FarmExistsError("that database holds a farm's records already; its stations share that farm's folder")
        tables.create_all(connection)
        facts = {"schema_version": str(SCHEMA_VERSION), "program_version": program_version(), "made_at": str(now())}
        connection.execute(insert(meta), [{"key": key, "value": value} for key, value in facts.items()])


def open_farm(folder: Path) -> Farm:
    """Open the farm in the folder. Raises NotAFarmError, NewerFarmError or SettingsError."""
    if not folder.is_dir():
        raise NotAFarmError(f"there is no folder {folder}; `spawnrun init` makes a farm")
    if not _is_farm(folder):
        raise NotAFarmError(
            f"{folder} is not a farm (no {SETTINGS_FILE} with {RECORDS_FILE}); `spawnrun init` makes one"
        )
    try:
        settings = load_settings(folder)
    except SettingsError:
        refuse_newer(folder / RECORDS_FILE)
        raise
    engine = _engine(folder, settings.records)
    with _let_go_if_it_fails(engine):
        check_version(folder / RECORDS_FILE, engine)
    return Farm(folder, engine, settings)


def find_farm(start: Path) -> Farm:
    """Open the farm that start lies in: the folder itself or the nearest above it."""
    return open_farm(find_farm_folder(start))


def find_farm_folder(start: Path) -> Path:
    """The folder of the farm that start lies in. Raises NotAFarmError."""
    start = start.resolve()
    for folder in (start, *start.parents):
        if _is_farm(folder):
            return folder
    raise NotAFarmError(f"no farm in {start} or above it: give --farm DIR, or make one with `spawnrun init`")


@contextmanager
def _let_go_if_it_fails(engine: Engine) -> Iterator[None]:
    try:
        yield
    except BaseException:
        engine.dispose()
        raise


def _is_farm(folder: Path) -> bool:
    settings = folder / SETTINGS_FILE
    return settings.is_file() and ((folder / RECORDS_FILE).is_file() or is_on_server(settings))


def farm_identity(farm: Farm) -> str:
    """A unique name of the farm, stored in its records, so that it survives a move of the folder (RFC 9562)."""
    with farm.writing() as connection:
        known = connection.scalar(select(meta.c.value).where(meta.c.key == "identity"))
        if known is not None:
            return str(known)
        fresh = str(uuid4())
        connection.execute(insert(meta).values(key="identity", value=fresh))
        return fresh


def is_output_folder(folder: Path) -> bool:
    """Whether the folder has the mark of this program's output."""
    return (folder / OUTPUT_MARK).is_file()


def output_folder(folder: Path) -> Path:
    """The folder, made if need be and marked as written by this program. Raises OutputPathError without a parent."""
    output_file(folder).mkdir(exist_ok=True)
    (folder / OUTPUT_MARK).touch()
    return folder


def _engine(folder: Path, records: str = "") -> Engine:
    return server_engine(records) if records else sqlite_engine(folder / RECORDS_FILE)


def path_as_kept(path: Path, folder: Path) -> str:
    """A photo's path for the records: relative to the farm where it lies inside, else absolute; forward slashes."""
    absolute = Path(os.path.abspath(path))  # noqa: PTH100 - links are not followed: the name matters
    home = Path(os.path.abspath(folder))  # noqa: PTH100
    return path_as_text(absolute.relative_to(home) if absolute.is_relative_to(home) else absolute)


def path_as_text(path: Path) -> str:
    """A path with forward slashes, fit to be kept and printed: bytes in it that are no UTF-8 stand as escapes."""
    return path.as_posix().encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def replace_file(target: Path, content: bytes) -> None:
    """Write a file whole or not at all: a stop in between leaves what was there before."""
    fresh = fresh_name(target)
    try:
        with fresh.open("xb") as file:
            file.write(content)
        fresh.replace(target)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise


def fresh_name(target: Path) -> Path:
    """A name beside the target that nobody can guess, for a file that is opened with "x": never through a link."""
    return target.with_name(f".{target.name}.{secrets.token_hex(8)}")
