"""Radial rate of a colony, and its fast sectors: directions in which it grows faster than elsewhere."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from growth.fit.single_curve import FailedFit, RadialRate, fit_radial_rate

#: A fast sector exceeds the colony's median rate by this factor, over at least this many degrees, and by this many
#: standard errors. Growers transfer from the fastest sector, so it must not be noise.
FASTER_SHARE, LEAST_DEGREES, LEAST_ERRORS = 1.25, 30.0, 2.0
#: The rate of the whole colony uses days on which this share of its front is free of the rim, if there are this many.
MOSTLY_FREE, FEWEST_DAYS = 0.9, 3
#: Directions at the rim are left out before the fit, so the fit itself needs no rim.
NO_RIM_MM = 1e3


@dataclass(frozen=True)
class Sector:
    """A run of neighbouring directions, degrees clockwise from the x axis, with its mean radial rate in mm/day."""

    from_degrees: float
    to_degrees: float
    mm_per_day: float
    times_median: float


@dataclass(frozen=True)
class ColonyRate:
    """Radial rate of a colony as a whole and along each direction (None where it could not be fitted)."""

    whole: RadialRate | FailedFit
    by_direction: tuple[float | None, ...]
    fast_sectors: tuple[Sector, ...]


def rate_colony(
    days: Sequence[float],
    radii_mm: Sequence[Sequence[float]],
    rim_mm: Sequence[Sequence[float]],
) -> ColonyRate:
    """Radial rates from the reach of a colony along evenly spaced directions, day by day.

    days: since inoculation. radii_mm, rim_mm: for each day the reach and the distance of the rim along each direction.
    Days on which a direction has reached the rim are left out for it.
    """
    day, reach, rim = np.asarray(days, float), np.asarray(radii_mm, float), np.asarray(rim_mm, float)
    free = reach < 0.96 * rim
    n_directions = reach.shape[1] if reach.ndim == 2 else 0
    fits = [
        fit_radial_rate(day[free[:, i]], reach[free[:, i], i], dish_radius_mm=NO_RIM_MM) for i in range(n_directions)
    ]
    rates = tuple(fit.mm_per_day if isinstance(fit, RadialRate) else None for fit in fits)
    return ColonyRate(_whole_rate(day, reach, free), rates, _fast_sectors(fits))


def _whole_rate(
    day: NDArray[np.float64], reach: NDArray[np.float64], free: NDArray[np.bool_]
) -> RadialRate | FailedFit:
    """Rate of the radius of the circle of equal area, over days on which most of the front is free of the rim.

    If there are too few such days: rate of the mean reach in the directions that stay free of the rim.
    """
    if reach.ndim != 2 or not len(day):
        return FailedFit("radial", "no colony was seen")
    whole_front = free.mean(axis=1) >= MOSTLY_FREE
    if whole_front.sum() >= FEWEST_DAYS:
        radius = np.sqrt((reach[whole_front] ** 2).mean(axis=1))
        return fit_radial_rate(day[whole_front], radius, dish_radius_mm=NO_RIM_MM)
    always = free.all(axis=0)
    if not always.any():
        return FailedFit("radial", "every direction has come to the rim")
    return fit_radial_rate(day, reach[:, always].mean(axis=1), dish_radius_mm=NO_RIM_MM)


def _fast_sectors(fits: Sequence[RadialRate | FailedFit]) -> tuple[Sector, ...]:
    known = [fit for fit in fits if isinstance(fit, RadialRate)]
    if len(known) < len(fits) / 2 or not known:
        return ()
    median = float(np.median([fit.mm_per_day for fit in known]))
    step = 360.0 / len(fits)
    fast = [
        isinstance(fit, RadialRate)
        and fit.mm_per_day > FASTER_SHARE * median
        and fit.mm_per_day - LEAST_ERRORS * fit.error_mm_per_day > median
        for fit in fits
    ]
    sectors = []
    for run in _runs(fast):
        if len(run) * step < LEAST_DEGREES:
            continue
        mean = float(np.mean([fit.mm_per_day for i in run if isinstance(fit := fits[i], RadialRate)]))
        sectors.append(Sector(run[0] * step, (run[-1] + 1) * step % 360, mean, mean / median))
    return tuple(sorted(sectors, key=lambda one: -one.mm_per_day))


def _runs(marked: Sequence[bool]) -> list[list[int]]:
    """Runs of marked places on a closed circle."""
    count = len(marked)
    if all(marked):
        return [list(range(count))] if count else []
    start = next(i for i in range(count) if not marked[i]) if count else 0
    runs: list[list[int]] = []
    for offset in range(count):
        place = (start + offset) % count
        if marked[place]:
            if runs and (place - 1) % count == runs[-1][-1]:
                runs[-1].append(place)
            else:
                runs.append([place])
    return runs
