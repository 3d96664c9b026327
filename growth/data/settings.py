"""Settings of a forecast."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from calibration import Species


@dataclass(frozen=True)
class ForecastSettings:
    """Settings of :func:`growth.forecast.forecast`; the benchmark measures the defaults.

    through_percent: true percent that counts as colonised through, between 50 and 99.9.
    laws: names of growth laws to average over; empty means those fitting the kind.
    consolidation_days: days from through to ready, overriding the species table; None means the table's.
    own_consolidation_days: the same for single species (a name, for blocks and buckets) or for a species in a kind
    ("oyster jar"), overriding both.
    own_species: a farm's own rows of the species table, by key (calibration.own_species).
    interval: probability that the interval is meant to hold.
    wrong_share: share of readings expected to be gross errors.
    reading_spread_percent: standard deviation of a reading without bounds at half colonised (about the repeatability
    of one person judging by eye: Sykes et al. 1983, 90 % within 5-15 points).
    fahrenheit: whether notes give temperatures in degrees Fahrenheit.
    curve: whether to give each vessel's percent over days with its band (slow for thousands of vessels).
    """

    through_percent: float = 99.0
    laws: tuple[str, ...] = ()
    consolidation_days: float | None = None
    own_consolidation_days: Mapping[str, float] = field(default_factory=dict)
    own_species: Mapping[str, Species] = field(default_factory=dict)
    interval: float = 0.8
    wrong_share: float = 0.03
    reading_spread_percent: float = 6.0
    curve: bool = True
    fahrenheit: bool = False

    def __post_init__(self) -> None:
        if not 50.0 <= self.through_percent <= 99.9:
            msg = f"through_percent must lie between 50 and 99.9, not {self.through_percent:g}"
            raise ValueError(msg)
        if not 0.0 < self.interval < 1.0:
            msg = f"interval must lie between 0 and 1, not {self.interval:g}"
            raise ValueError(msg)
        if self.laws:
            _check_laws(self.laws)


def _check_laws(names: Sequence[str]) -> None:
    from growth.laws import LAWS  # numpy, which is not needed where the usual laws are meant

    if unknown := sorted(set(names) - set(LAWS)):
        raise ValueError(f"no growth law is named {', '.join(unknown)}; known: {', '.join(LAWS)}")
