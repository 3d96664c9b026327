"""What goes into and comes out of a forecast: frozen records, days as numbers since inoculation."""

from dataclasses import dataclass, field
from typing import Literal

from calibration import Kind, Use

Status = Literal["no readings", "waiting", "colonising", "colonised", "ready", "stalled", "dropped"]


@dataclass(frozen=True)
class Series:
    """Readings of one vessel. Days count from inoculation; percents are 0-100.

    low, high: 80 % bounds of each reading, or None where unknown (the law's default error is used).
    shaken_days: days on which the vessel was shaken (its grain broken up on purpose); each starts a new phase.
    as_of_day: the moment for which the forecast is made; None means the last reading.
    temperature_c: mean temperature of the place, or None. use: what it is for; None: as its substrate or kind tells.
    """

    vessel: str
    kind: Kind
    species: str = ""
    substrate: str = ""
    batch: str = ""
    days: tuple[float, ...] = ()
    percent: tuple[float, ...] = ()
    low: tuple[float | None, ...] = ()
    high: tuple[float | None, ...] = ()
    shaken_days: tuple[float, ...] = ()
    as_of_day: float | None = None
    temperature_c: float | None = None
    use: Use | None = None


@dataclass(frozen=True)
class Curve:
    """Percent over days: median and 80 % band."""

    days: tuple[float, ...]
    median: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True)
class OddReading:
    """A reading that does not fit its vessel's curve: its day, its percent, and the percent of the curve."""

    day: float
    percent: float
    expected_percent: float


@dataclass(frozen=True)
class Drop:
    """A steep fall between two neighbouring readings: their days and percents, and the likeliest day of a shake."""

    before_day: float
    before_percent: float
    after_day: float
    after_percent: float
    shake_day: float


@dataclass(frozen=True)
class Forecast:
    """When a vessel is colonised through and ready, in days since inoculation; None where that is unknown.

    through_*: the true percent reaches the colonised-through threshold. ready_*: through plus consolidation.
    low and high bound an 80 % interval. notes: plain sentences, each a reason or a warning.
    laws: weight of each growth law in the average, summing to 1. odd: readings that do not fit the curve and had almost
    no weight. days_behind: how many days a vessel far behind its batch is later than the others; None for any other.
    drop: the fall that may be a shake nobody recorded, if status is "dropped".
    """

    vessel: str
    status: Status
    percent_now: float | None = None
    through_median: float | None = None
    through_low: float | None = None
    through_high: float | None = None
    ready_median: float | None = None
    ready_low: float | None = None
    ready_high: float | None = None
    lag_days: float | None = None
    percent_per_day: float | None = None
    laws: dict[str, float] = field(default_factory=dict)
    curve: Curve | None = None
    notes: tuple[str, ...] = ()
    odd: tuple[OddReading, ...] = ()
    days_behind: float | None = None
    drop: Drop | None = None
