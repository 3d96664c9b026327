"""What a farm's records have taught: how long each species takes on its substrate in its kind, and each batch."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration import Kind
from growth.gather import gather
from growth.phases import prepare
from growth.records import Series
from growth.settings import ForecastSettings
from growth.survey import survey


@dataclass(frozen=True)
class BatchPace:
    """One batch: median days from inoculation to colonised through over its vessels, how many, how many have
    finished.
    """

    batch: str
    median_days: float
    vessels: int
    finished: int


@dataclass(frozen=True)
class LearnedPace:
    """One species on one substrate in one kind, as learned: the table's days, and the farm's own.

    median_days with an 80 % range over vessels to come; within_spread and between_spread: relative spread (standard
    deviation of the logarithm) of the half-way day among vessels of a batch and among batches; laws: share of vessels
    that follow each law.
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
    """What all readings together say of each species on its substrate in its kind; one record for each found."""
    settings = settings or ForecastSettings()
    if not series:
        return ()
    prepared = [prepare(one, settings) for one in series]
    gathered = gather(series, prepared)
    surveyed = survey(gathered, settings)
    through = surveyed.quantiles([0.5])[:, 0] + gathered.start_day
    tree, current = gathered.farm.tree, gathered.current
    group_of = tree.group_of_batch[tree.batch_of_vessel]
    as_of = np.array([prepared[v].as_of_day if prepared[v].phases else -1.0 for v in gathered.vessel], dtype=float)
    done = current & (through <= as_of) & ~surveyed.stalls.told
    learned = []
    for number, group in enumerate(gathered.groups):
        mine = current & (group_of == number)
        weight = surveyed.weight[mine].mean(axis=0)
        best = surveyed.fits[surveyed.laws[int(weight.argmax())]].pooled
        assert best is not None
        low, median, high = surveyed.newcomer_days(number, weight, settings)
        batches = [
            BatchPace(name, round(float(np.median(through[rows])), 2), int(rows.sum()), int((done & rows).sum()))
            for index, (_, name) in enumerate(gathered.batches)
            if not name.startswith("\0") and (rows := mine & (tree.batch_of_vessel == index)).any()
        ]
        learned.append(
            LearnedPace(
                kind=group.kind,
                species=group.species,
                substrate=group.substrate,
                vessels=int(mine.sum()),
                finished=int((done & mine).sum()),
                stalled=int((surveyed.stalls.told & mine).sum()),
                table_days=group.pace.through_days,
                table_source=group.pace.source,
                median_days=round(median, 2),
                low_days=round(low, 2),
                high_days=round(high, 2),
                within_spread=round(float(np.sqrt(best.within[number, 0, 0])), 3),
                between_spread=round(float(np.sqrt(best.between[number, 0, 0])), 3),
                laws={law: round(float(w), 3) for law, w in zip(surveyed.laws, weight, strict=True) if w > 0},
                batches=tuple(batches),
            )
        )
    return tuple(learned)
