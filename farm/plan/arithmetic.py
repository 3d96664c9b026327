"""Planning in pure numbers: how many are ready by when, what they make, and when each step must start.

Days are whole or broken numbers from one common zero (today, say); draws are columns, the same column everywhere being
the same draw of the farm, so that sums and counts carry what vessels share.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]

#: low and high of a band bound 80 % of the draws, so low is reached nine times in ten.
LOW, HIGH = 0.1, 0.9
_NOTHING = 1e-9


@dataclass(frozen=True)
class Band:
    """An uncertain number: its median, and the low and high that bound 80 % of its draws."""

    low: float
    median: float
    high: float

    def times(self, factor: float) -> "Band":
        """Each end times a factor."""
        return Band(self.low * factor, self.median * factor, self.high * factor)


def band_of(draws: Array) -> Band:
    """The band of draws (D,). Its ends are values that occur, so that counts stay whole numbers."""
    low, median, high = np.quantile(draws, [LOW, 0.5, HIGH], method="inverted_cdf")
    return Band(float(low), float(median), float(high))


def amount_by(ready: Array, days: Array, each: Array | None = None) -> Array:
    """What is ready by the end of each of ``days`` (N,): a count, or with ``each`` (V,) an amount; draws (N, D).

    ready: (V, D); NaN never.
    """
    weight = np.ones(len(ready)) if each is None else each
    return np.array([weight @ (ready <= day) for day in days])


def places_in_use(starts: Array, held_days: Array, days: Array) -> Array:
    """Places taken at each of ``days`` (N,) by vessels that start (V, D) and hold a place (V,) days; draws (N, D)."""
    return np.array([((starts <= day) & (day < starts + held_days[:, None])).sum(axis=0) for day in days])


Amount = TypeVar("Amount", float, Array)


def expanded(amount: Amount, ratio: float, generations: int = 1) -> Amount:
    """Grain after a number of expansions of one to ``ratio``: at 1 to 10, 1 makes 10, 100, 1000."""
    return amount * ratio**generations


def spawn_kg(substrate_kg: float, rate_percent: float) -> float:
    """Spawn for wet substrate at a rate in percent of the substrate's weight (not of the mix)."""
    return substrate_kg * rate_percent / 100.0


def substrate_kg(of_spawn_kg: Amount, rate_percent: float) -> Amount:
    """Wet substrate for which an amount of spawn suffices; the inverse of :func:`spawn_kg`."""
    return of_spawn_kg * 100.0 / rate_percent


def days_until(ready: Array, share: Array | float) -> Array:
    """The day (D,) on which a share (0-1, a number or (D,)) of some vessels (V, D) is ready; the rows stand for all."""
    ordered = np.sort(np.where(np.isnan(ready), np.inf, ready), axis=0)
    place = np.ceil(np.broadcast_to(share, ordered.shape[1]) * len(ordered) - _NOTHING).astype(int) - 1
    return np.asarray(ordered[np.clip(place, 0, len(ordered) - 1), np.arange(ordered.shape[1])])


def vessels_for(wanted: int, loss_draws: Array, spare_percent: float = 0.0) -> tuple[int, Array]:
    """How many to inoculate so that ``wanted`` survive nine times in ten, and how many survive (D,).

    loss_draws (D,): the share that is lost, 0 or more and below 1. spare_percent: at least so many more than wanted.
    """
    least = ceil(wanted * (1.0 + spare_percent / 100.0) - _NOTHING)
    for made in range(least, 20 * least + 20):
        left = np.random.default_rng(20).binomial(made, 1.0 - loss_draws)
        if (left >= wanted).mean() >= HIGH:
            break
    return made, left.astype(float)


@dataclass(frozen=True)
class Start:
    """When a step of a chain must start at the latest, in days: to be nine times in ten in time, and for even odds."""

    sure: float
    even: float


def latest_starts(due_day: float, waits: Sequence[Array]) -> list[Start]:
    """The latest start of each step of a chain, first to last, that is through by due_day.

    waits: draws (D,) of the days that each step takes, first to last; each begins when the one before is done. What
    comes after a step is added up draw by draw, not quantile by quantile.
    """
    starts = []
    left = np.zeros_like(np.asarray(waits[-1], dtype=float))
    for wait in reversed(waits):
        left = left + wait
        sure, even = np.quantile(left, [HIGH, 0.5], method="inverted_cdf")
        starts.append(Start(due_day - float(sure), due_day - float(even)))
    return starts[::-1]


@dataclass(frozen=True)
class GrainSplit:
    """Where the grain for a goal comes from, in kg of colonised grain and pieces of culture.

    used_kg: running grain that goes in as it is; starters_kg: running grain that is expanded first; from_plates_kg:
    grain inoculated from running culture; missing_kg: grain for which there is no culture yet; made_kg: all that must
    be inoculated in addition.
    """

    used_kg: float
    starters_kg: float
    from_plates_kg: float
    missing_kg: float
    made_kg: float


def split_grain(needed_kg: float, at_last_kg: float, early_kg: float, culture_kg: float, ratio: float) -> GrainSplit:
    """Meet a need for grain from what runs, with as little new work as can be.

    at_last_kg: running grain that is ready when it is needed; early_kg: of it, ready early enough to be expanded first,
    one to ``ratio``; culture_kg: grain that running plates can inoculate by then.
    """
    short = max(needed_kg - at_last_kg, 0.0)
    from_plates = min(short, culture_kg)
    short -= from_plates
    starters = min(short / (ratio - 1.0), min(early_kg, at_last_kg)) if ratio > 1.0 else 0.0
    grown = expanded(starters, ratio)
    missing = max(needed_kg - (at_last_kg - starters) - from_plates - grown, 0.0)
    missing = missing if missing > _NOTHING else 0.0
    return GrainSplit(
        used_kg=min(needed_kg, at_last_kg - starters),
        starters_kg=starters,
        from_plates_kg=from_plates,
        missing_kg=missing,
        made_kg=from_plates + grown + missing,
    )


def whole(amount: float) -> int:
    """The next whole number of vessels, up."""
    return ceil(amount - _NOTHING)
