"""From step to step: how much grain one kg of spawn makes, and how each substrate is prepared."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from calibration.species import Sourced


@dataclass(frozen=True)
class Preparing:
    """How a class of substrate is prepared, and days from the start until it is cool enough to inoculate."""

    method: str
    days: float
    source: str


@dataclass(frozen=True)
class Expansion:
    """Usual ratios. preparing: by class of substrate. grain_ratio: kg of grain from one kg of colonised grain.

    grain_vessels: vessels of grain from one vessel of culture, where its kind has no number of its own.
    unknown_species: spawn rate, flushes and days of fruiting for a species that is not in the species table.
    """

    grain_ratio: Sourced
    grain_vessels: Sourced
    preparing: dict[str, Preparing]
    unknown_species: dict[str, Sourced]


@cache
def expansion() -> Expansion:
    """The table of ``expansion.toml``."""
    table = tomllib.loads((files("calibration") / "expansion.toml").read_text("utf-8"))
    sources: dict[str, str] = table["sources"]
    ratios = {name: Sourced(float(value), sources[source]) for name, (value, source) in table["ratios"].items()}
    return Expansion(
        preparing={
            name: Preparing(method, float(days), sources[source])
            for name, (method, days, source) in table["preparing"].items()
        },
        unknown_species={
            name: Sourced(float(value), sources[source]) for name, (value, source) in table["unknown_species"].items()
        },
        **ratios,
    )
