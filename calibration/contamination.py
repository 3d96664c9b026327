"""What colours on a vessel's face usually mean, which a species has naturally, and what a suspect's score is worth."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from calibration.species import Species, find_species
from calibration.substrates import plain_name


@dataclass(frozen=True)
class ColourMeaning:
    """What a colour usually means, why that is uncertain, and the sources of both."""

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
    """What a suspect's score is worth, measured by benchmarks.contamination on pictures with known truth."""

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
    """Natural colours of the mycelium of a species, as plain words; none for a species not in the table.

    aged: whether to include colours that the table has "with age".
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
