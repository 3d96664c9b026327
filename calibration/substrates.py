"""What a vessel is for (culture, spawn or fruiting), and what the name of its substrate says of it.

All facts are in ``substrates.toml``: the uses, the words that show a class of substrate and its use, and moisture.
"""

import re
import tomllib
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any, get_args

from calibration.kinds import Kind, Use, vessel_kinds

#: All uses, in the order in which a grow goes through them.
USES: tuple[Use, ...] = get_args(Use)


@dataclass(frozen=True)
class VesselUse:
    """One use. next_step: what follows once a vessel is ready; ready: the same, as one says it of a ready vessel.

    consolidates: it rests between colonised through and ready, as many days as its species takes.
    """

    name: Use
    next_step: str
    ready: str
    consolidates: bool


@dataclass(frozen=True)
class Substrate:
    """Words (or phrases) in the name of a substrate that show its use and its class ("": none is known)."""

    words: tuple[str, ...]
    use: Use
    name: str
    source: str


@cache
def vessel_uses() -> dict[Use, VesselUse]:
    """All uses by name."""
    return {name: VesselUse(name=name, **row) for name, row in _table()["uses"].items()}


@cache
def substrates() -> tuple[Substrate, ...]:
    """The rows of the table; the first that has a word of a substrate's name decides."""
    sources: dict[str, str] = _table()["sources"]
    return tuple(
        Substrate(tuple(row["words"]), row["use"], row.get("class", ""), sources[row["source"]])
        for row in _table()["substrate"]
    )


def plain_name(name: str) -> str:
    """The name in lower case, only letters and digits, with single spaces between words."""
    return " ".join(re.findall(r"[a-z0-9]+", name.lower()))


def substrate_class(substrate: str) -> str | None:
    """Class of a substrate by the words in its name: agar, grain, compost, straw or sawdust; None if no word is
    known.
    """
    return next((one.name for one in _rows_of(substrate) if one.name), None)


def usual_moisture(substrate: str) -> tuple[float, str]:
    """Water in percent of the wet weight of a substrate that is ready to inoculate, and the source of the number."""
    rows: dict[str, tuple[float, str]] = _table()["moisture_percent"]
    value, source = rows.get(substrate_class(substrate) or "other", rows["other"])
    return float(value), _table()["sources"][source]


@lru_cache(maxsize=1024)  # a list asks for each vessel, several times, and a farm has few substrates
def use_of_substrate(substrate: str) -> Use | None:
    """What a vessel with this substrate is for, by the words in its name; None if no word is known."""
    return next((one.use for one in _rows_of(substrate)), None)


def use_of(kind: Kind, substrate: str, recorded: Use | None = None) -> Use:
    """What a vessel is for: as its record says, else as its substrate tells, else what its kind is usually for."""
    return recorded or use_of_substrate(substrate) or vessel_kinds()[kind].use


def use_is_assumed(kind: Kind, substrate: str, recorded: Use | None = None) -> bool:
    """Whether only the kind says what a vessel is for, and the kind is one that growers use for several things."""
    known = recorded is not None or use_of_substrate(substrate) is not None
    return not known and vessel_kinds()[kind].use_varies


def _rows_of(substrate: str) -> tuple[Substrate, ...]:
    name = f" {plain_name(substrate)} "
    return tuple(one for one in substrates() if any(f" {word} " in name for word in one.words))


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads((files("calibration") / "substrates.toml").read_text("utf-8"))
