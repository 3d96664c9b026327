"""The farm's settings: a small TOML file that a person may edit."""

import tomllib
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, ValidationInfo, field_validator

from calibration import KINDS, SpeciesChange, find_species, known_species_names, own_species, plain_name, vessel_kinds
from farm.store.clock import sane_moment, time_zone
from farm.store.date_text import DateOrder
from farm.store.errors import SettingsError
from farm.store.fault_text import did_you_mean, fault_words
from farm.store.units import LengthUnit, TemperatureUnit, WeightUnit, measure_of_text

SETTINGS_FILE = "farm.toml"

_CONTENTS_KG = {name: kind.contents_kg for name, kind in vessel_kinds().items() if kind.contents_kg is not None}
if TYPE_CHECKING:
    FilledKind = str
else:
    FilledKind = Literal[tuple(_CONTENTS_KG)]  # kinds that hold grain or substrate

TEMPLATE = """\
# Settings of this farm. Every line may be left out; what stands here is the usual value.

# A vessel counts as colonised through at this percent of its visible face.
through_percent = 99.0

# Where the records are kept. Empty: here, in records.sqlite. For a farm with several stations, which share this folder:
# a PostgreSQL database, such as "postgresql://user@host/database"; its password is best left to the environment
# variable SPAWNRUN_RECORDS_PASSWORD. `spawnrun init --records` makes it.
records = ""

# How many days ahead `spawnrun ready` looks.
days_ahead = 7

# The farm's clock, for times without an offset: an IANA name such as "Europe/Vienna"; empty: this machine's zone.
time_zone = ""

# How dates in numbers are written here, such as 3/2/2026 or 02.03.2026: "day first" or "month first"; empty: those that
# may be read in two ways are asked about. 2026-03-02 and 2 Mar 2026 are always understood.
date_order = ""

# Make lists and forecasts for this moment instead of now (for records of the past), such as "2026-03-14T18:00";
# empty: now.
as_of = ""

# A colour that may be contamination is flagged from this score on, 0 to 1; `spawnrun review --help` shows what was
# missed and what was flagged for nothing at other values. A lower value finds more, and flags more for nothing.
suspect_score = 0.5

# A suspect that was dismissed comes back when it has grown to this many times its area, and by this many cm2.
returns_when_times = 1.5
returns_when_cm2 = 0.5

# Mean temperature of the grow room in degrees Celsius, or "75 F", for vessels that have no temperature_c of their own;
# empty: not known. It changes the pace expected of a vessel before it has readings, for species whose response is
# known.
temperature_c = ""

# Units that are shown, and in which a number without a unit is read: lengths "cm" or "inches", weights "kg" or "lb",
# temperatures "C" or "F". JSON, CSV and exports stay metric, as their columns say.
[units]
lengths = "cm"
weights = "kg"
temperatures = "C"

# Of vessels inoculated, the percent that is lost, for `spawnrun plan`; empty: what this farm's own records show, or
# nothing as long as they show too little. spare_percent: made beyond what is wanted, so that the slowest need not be
# waited for. fruiting_places: how many vessels can fruit at once; empty: not known.
[plan]
loss_percent = ""
spare_percent = 10
fruiting_places = ""
# jars_per_plate = 10
# jars_per_tube = 2
# grain_ratio = 10
# contents_kg = {CONTENTS}
# prepare_days = {grain = 2, sawdust = 2, straw = 1}

# Days that a vessel for fruiting rests after it is colonised through, where this farm differs from the usual:
# species = days; for one kind of vessel, whatever it is for, "species kind" = days.
[consolidation_days]
# shiitake = 60
# "oyster jar" = 2

# Water in substrate that is ready to inoculate, percent of its wet weight, where this farm's differs from the usual:
# for the name of a substrate, or for all of a class (sawdust, straw, compost, grain, other). A yield is compared with
# the dry weight that follows.
[moisture_percent]
# straw = 72
# "masters mix" = 58

# What this farm knows better than the species table (`spawnrun species` shows it, with sources), and strains that are
# not in it. Any number of it may be set; pace is [kind, substrate, lag days, days to colonised through].
# [species.oyster]
# spawn_rate_percent = 8
# flushes = 2
# pace = [["block", "straw", 2.5, 13]]
# [species."barn strain"]
# like = "oyster"
# colours = ["white", "yellowish exudate with age"]
""".replace("CONTENTS", ", ".join(f"{name} = {kg}" for name, kg in _CONTENTS_KG.items()))


class UnitSettings(BaseModel):
    """The units of a farm; see the comments of the settings file."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    lengths: LengthUnit = "cm"
    weights: WeightUnit = "kg"
    temperatures: TemperatureUnit = "C"


def _celsius(value: object) -> object:
    return measure_of_text(value, "temperature", "C") if isinstance(value, str) else value


def _kg(value: object) -> object:
    return measure_of_text(value, "weight", "kg") if isinstance(value, str) else value


Kg = Annotated[float, BeforeValidator(_kg), Field(gt=0, le=1000)]


class PlanSettings(BaseModel):
    """What a farm sets for its plans; None is the expansion table's (or not known)."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    loss_percent: float | None = Field(default=None, ge=0, le=90)
    spare_percent: float = Field(default=10.0, ge=0, le=500)
    fruiting_places: int | None = Field(default=None, ge=0)
    jars_per_plate: float | None = Field(default=None, gt=0, le=1000)
    jars_per_tube: float | None = Field(default=None, gt=0, le=1000)
    grain_ratio: float | None = Field(default=None, gt=1, le=1000)
    contents_kg: dict[FilledKind, Kg] = {}
    prepare_days: dict[str, Annotated[float, Field(ge=0, le=365)]] = {}

    @field_validator("loss_percent", "fruiting_places", mode="before")
    @classmethod
    def _empty_is_not_known(cls, value: object) -> object:
        return None if value == "" else value


class Settings(BaseModel):
    """What a farm may set; see the comments of the settings file for each."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    through_percent: float = Field(99.0, ge=50, le=99.9)
    records: str = ""
    days_ahead: int = Field(7, ge=0, le=365)
    suspect_score: float = Field(0.5, ge=0, le=1)
    returns_when_times: float = Field(1.5, ge=1)
    returns_when_cm2: float = Field(0.5, ge=0)
    time_zone: str = ""
    date_order: DateOrder = ""
    as_of: datetime | None = None
    temperature_c: Annotated[Annotated[float, Field(ge=-10, le=60)] | None, BeforeValidator(_celsius)] = None
    units: UnitSettings = UnitSettings()
    species: dict[str, SpeciesChange] = {}
    consolidation_days: dict[str, Annotated[float, Field(ge=0, le=365, allow_inf_nan=False)]] = {}
    moisture_percent: dict[str, Annotated[float, Field(ge=1, le=95, allow_inf_nan=False)]] = {}
    plan: PlanSettings = PlanSettings()

    @field_validator("as_of")
    @classmethod
    def _of_our_time(cls, moment: datetime | None) -> datetime | None:
        return None if moment is None else sane_moment(moment)

    @field_validator("species")
    @classmethod
    def _known_or_like(cls, changes: dict[str, SpeciesChange]) -> dict[str, SpeciesChange]:
        own_species(changes)
        return changes

    @field_validator("consolidation_days")
    @classmethod
    def _of_known_species(cls, days: dict[str, float], info: ValidationInfo) -> dict[str, float]:
        changes = info.data.get("species")
        if changes is not None and (faults := _unknown_names(days, changes)):
            raise ValueError("; ".join(faults))
        return days


def _unknown_names(names: Iterable[str], changes: dict[str, SpeciesChange]) -> list[str]:
    """A fault for each name that is neither a known species nor one followed by a kind of vessel."""
    own = own_species(changes)
    known = known_species_names(own)
    faults = []
    for name in names:
        first, _, last = plain_name(name).rpartition(" ")
        if find_species(name, own) is None and not (last in KINDS and find_species(first, own) is not None):
            alike = did_you_mean(plain_name(name), [*known, *(f"{one} {kind}" for one in known for kind in KINDS)])
            faults.append(
                f'"{name}" is neither a known species nor one followed by a kind of vessel'
                f" ({', '.join(KINDS)}){alike or '; known species: ' + ', '.join(known)}"
            )
    return faults


def load_settings(folder: Path) -> Settings:
    """The settings of the farm in the folder. Raises SettingsError naming the line or the key."""
    source = folder / SETTINGS_FILE
    try:
        table = tomllib.loads(source.read_text("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(f"{source}: not readable as TOML: {error}") from None
    except ValueError:  # Python reads no whole number of more than 4300 digits
        raise SettingsError(f"{source}: not readable as TOML: a number of too many digits") from None
    except RecursionError:
        raise SettingsError(f"{source}: not readable as TOML: nested too deeply") from None
    for name in ("as_of", "temperature_c"):
        if table.get(name) == "":
            del table[name]
    try:
        settings = Settings.model_validate(table)
        time_zone(settings.time_zone)
    except SettingsError as error:
        raise SettingsError(f"{source}: {error}") from None
    except ValidationError as error:
        faults = [f"  {'.'.join(map(str, fault['loc']))}: {fault_words(fault)}" for fault in error.errors()]
        raise SettingsError("\n".join([f"{source}:", *faults])) from None
    return settings
