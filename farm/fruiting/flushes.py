"""Harvests as flushes: those that lie close together are one wave."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from farm.records.models import Harvest
from farm.store import days_between

#: A harvest that comes this part of the days between flushes after the one before begins the next flush; common
#: practice, no source.
_PAUSE = 0.5


@dataclass(frozen=True)
class Flush:
    """A wave of mushrooms of one vessel. number: from 1. fresh_kg: of all its harvests."""

    number: int
    first_at: datetime
    last_at: datetime
    fresh_kg: float
    n_harvests: int


def flushes_of(harvests: Sequence[Harvest], between_days: float) -> list[Flush]:
    """The flushes of one vessel's harvests, in order of their numbers.

    between_days: usual days from the first harvest of one flush to that of the next. A harvest begins the next flush
    when half of these have passed since the harvest before, or all since the flush began, unless its number is said.
    """
    waves: dict[int, list[Harvest]] = {}
    number = 0
    for one in sorted(harvests, key=lambda each: each.at):
        if one.flush is not None:
            number = one.flush
        elif not waves or _begins_next(waves[number], one, between_days):
            number += 1
        waves.setdefault(number, []).append(one)
    return [
        Flush(number, mine[0].at, mine[-1].at, sum(one.fresh_kg for one in mine), len(mine))
        for number, mine in sorted(waves.items())
    ]


def _begins_next(wave: Sequence[Harvest], harvest: Harvest, between_days: float) -> bool:
    paused = days_between(wave[-1].at, harvest.at) > _PAUSE * between_days
    return paused or days_between(wave[0].at, harvest.at) >= between_days
