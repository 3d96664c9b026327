"""What colours on a vessel's face commonly are, which a species has of its own, and how far a suspect's score goes."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from calibration.species import Species, find_species, plain_name


@dataclass(frozen=True)
class ColourMeaning:
    """What a plain colour word commonly is, why that is not sure, and where both are from."""

    colour: str
    commonly: str
    not_sure: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class ThresholdRow:
    """Counts of the benchmark at one threshold of the score.

    missed of due: photos with a contaminated patch of the size that is to be flagged, and how many had no flag on it.
    false_flags of clean: readings of vessels without contamination, and how many had a flag.
    """

    threshold: float
    missed: int
    due: int
    false_flags: int
    clean: int


@dataclass(frozen=True)
class ScoreBand:
    """Flags of the benchmark with a score from low (included) to high, and how many of them were contamination."""

    low: float
    high: float
    contaminated: int
    flags: int


@dataclass(frozen=True)
class ScoreSet:
    """The thresholds as measured on one set of pictures with known truth. source: which, and how."""

    source: str
    thresholds: tuple[ThresholdRow, ...]


@dataclass(frozen=True)
class ScoreTable:
    """What a suspect's score was worth where the truth is known, by this project's benchmarks.contamination."""

    sets: tuple[ScoreSet, ...]
    bands: tuple[ScoreBand, ...]

    def band_of(self, score: float) -> ScoreBand | None:
        """The band that a score lies in; None where the benchmark had no flag like it."""
        return next((one for one in self.bands if one.low <= score < one.high and one.flags), None)


@cache
def colour_meanings() -> dict[str, ColourMeaning]:
    """Every plain colour word with its meaning, from ``contamination.toml``."""
    table = _table("contamination.toml")
    sources: dict[str, str] = table["sources"]
    return {
        word: ColourMeaning(word, row["commonly"], row["not_sure"], tuple(sources[key] for key in row["sources"]))
        for word, row in table["colours"].items()
    }


def own_colours(species: str, *, aged: bool, own: Mapping[str, Species] | None = None) -> frozenset[str]:
    """Plain colour words that the mycelium of a species has of its own; none for a species not in the table.

    aged: whether the vessel is far enough along for what the table says comes "with age".
    own: a farm's own rows of the table, by key.
    """
    known = find_species(species, own)
    if known is None:
        return frozenset()
    shades: dict[str, list[str]] = _table("contamination.toml")["shades"]
    said = " ".join(one for one in known.colours if aged or "with age" not in one)
    return frozenset(colour for word in plain_name(said).split() for colour in shades.get(word, ()))


@cache
def suspect_scores() -> ScoreTable:
    """The benchmark's table, from ``suspect_scores.toml``."""
    table = _table("suspect_scores.toml")
    return ScoreTable(
        sets=tuple(
            ScoreSet(one["source"], tuple(ThresholdRow(*row) for row in one["thresholds"])) for one in table["measured"]
        ),
        bands=tuple(ScoreBand(*row) for row in table["bands"]),
    )


@cache
def _table(name: str) -> dict[str, Any]:
    return tomllib.loads((files("calibration") / name).read_text("utf-8"))
