"""The pace learned from a farm's records: days to colonised through of each species, and of each batch."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import Kind
from growth.data import ForecastSettings, Series
from growth.fit import FarmFit, Gathered, fit_farm

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class BatchPace:
    """One batch: median days from inoculation to through over its vessels, their number, and how many are through."""

    batch: str
    median_days: float
    vessels: int
    finished: int


@dataclass(frozen=True)
class LearnedPace:
    """One species on one substrate in one kind of vessel: the days of the species table, and those of the farm.

    median_days, low_days, high_days: expected of a vessel of a new batch, with an 80 % range. within_spread,
    between_spread: standard deviation of the logarithm of the half-way day among vessels of a batch and among batches
    (0.1 is about 10 %). laws: share of vessels that follow each growth law.
    """

    kind: Kind
    species: str
    substrate: str
    vessels: int
    finished: int
    stalled: int
    table_days: float
    table_source: str
    median_days: float
    low_days: float
    high_days: float
    within_spread: float
    between_spread: float
    laws: dict[str, float]
    batches: tuple[BatchPace, ...]


def learned_paces(series: Sequence[Series], *, settings: ForecastSettings | None = None) -> tuple[LearnedPace, ...]:
    """The learned pace of each species on its substrate in its kind of vessel; one record for each combination."""
    settings = settings or ForecastSettings()
    if not series:
        return ()
    prepared, gathered, farm_fit = fit_farm(series, settings)
    through = farm_fit.quantiles([0.5])[:, 0] + gathered.start_day
    as_of = np.array([-1.0 if not one.phases or one.as_of_day is None else one.as_of_day for one in prepared])
    done = gathered.current & (through <= as_of[gathered.vessel]) & ~farm_fit.stalls.is_stalled
    return tuple(
        _learned(number, gathered, farm_fit, through, done, settings) for number in range(len(gathered.groups))
    )


def _learned(
    number: int, gathered: Gathered, farm_fit: FarmFit, through: Array, done: Mask, settings: ForecastSettings
) -> LearnedPace:
    group, tree = gathered.groups[number], gathered.farm.tree
    mine = gathered.current & (tree.group_of_batch[tree.batch_of_vessel] == number)
    weight = farm_fit.weight[mine].mean(axis=0)
    pooled = farm_fit.fits[farm_fit.laws[int(weight.argmax())]].pooled
    low, median, high = farm_fit.newcomer_days(number, weight, settings)
    return LearnedPace(
        kind=group.kind,
        species=group.species,
        substrate=group.substrate,
        vessels=int(mine.sum()),
        finished=int((done & mine).sum()),
        stalled=int((farm_fit.stalls.is_stalled & mine).sum()),
        table_days=group.pace.through_days,
        table_source=group.pace.source,
        median_days=round(median, 2),
        low_days=round(low, 2),
        high_days=round(high, 2),
        within_spread=round(float(np.sqrt(pooled.within[number, 0, 0])), 3),
        between_spread=round(float(np.sqrt(pooled.between[number, 0, 0])), 3),
        laws={law: round(float(w), 3) for law, w in zip(farm_fit.laws, weight, strict=True) if w > 0},
        batches=_batches(mine, gathered, through, done),
    )


def _batches(mine: Mask, gathered: Gathered, through: Array, done: Mask) -> tuple[BatchPace, ...]:
    paces = []
    for index, (_, name) in enumerate(gathered.batches):
        rows = mine & (gathered.farm.tree.batch_of_vessel == index)
        if rows.any() and not name.startswith("\0"):
            days = round(float(np.median(through[rows])), 2)
            paces.append(BatchPace(name, days, int(rows.sum()), int((done & rows).sum())))
    return tuple(sorted(paces, key=lambda pace: pace.batch))
