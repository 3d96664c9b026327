"""Prepare a vessel's readings: sort and merge them, give each an error, and split them into phases at shakes."""

from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import NormalDist, median

import numpy as np
from numpy.typing import NDArray

from growth.data import Drop, ForecastSettings, Series

Array = NDArray[np.float64]

_SAME_PHOTO_DAYS = 0.25  # readings within six hours share light and view, so their errors do not average out
_LEAST_SPREAD = 0.004  # share; no reading is better than four tenths of a point
_FEW = 3
_UNUSUALLY_UNSURE = 2.0
#: Standard deviation of a real front about any smooth law, at half colonised, as a share. It is about twice what single
#: readings show, because the errors of neighbouring readings are alike. With this value errors and interval scores were
#: smaller both on simulated fronts and on records (benchmarks/forecast).
LAW_SPREAD = 0.035
_Z80 = NormalDist().inv_cdf(0.9)


@dataclass(frozen=True)
class Phase:
    """Readings from one start to the next shake: days since ``start_day``, share 0-1, standard deviation of the share.

    ``clipped``: True where the reading is 0 or 1. ``judged``: True where it has no bounds, as a judgement by eye.
    ``shaken``: the phase began with a shake.
    """

    start_day: float
    shaken: bool
    days: Array
    share: Array
    spread: Array
    clipped: NDArray[np.bool_]
    judged: NDArray[np.bool_]

    def part(self, rows: slice | NDArray[np.bool_], since: float) -> "Phase":
        """Some of the readings, with days counted from ``since`` (a day of this phase)."""
        return replace(
            self,
            days=np.maximum(self.days[rows] - since, 0.0),
            share=self.share[rows],
            spread=self.spread[rows],
            clipped=self.clipped[rows],
            judged=self.judged[rows],
        )


@dataclass(frozen=True)
class Prepared:
    """Phases of one vessel (the last is the current one), the day the forecast is for, and notes for the user.

    ``drop``: a fall that may be an unrecorded shake, else None.
    """

    phases: tuple[Phase, ...]
    as_of_day: float | None
    drop: Drop | None
    notes: tuple[str, ...]


def prepare(series: Series, settings: ForecastSettings) -> Prepared:
    """The phases of one vessel. Readings that cannot be used are left out, with a note."""
    whole, notes = _usable(series, settings)
    day = whole.days
    if len(day) == 0:
        return Prepared((), series.as_of_day, None, tuple(notes))
    known = [s for s in series.shaken_days if s > 0 and (series.as_of_day is None or s <= series.as_of_day)]
    shakes = sorted(known)
    as_of = series.as_of_day if series.as_of_day is not None else max([float(day[-1]), *shakes])
    starts = [0.0, *shakes]
    phases = []
    for n, start in enumerate(starts):
        end = starts[n + 1] if n + 1 < len(starts) else np.inf
        rows = (day > start) & (day <= end) if n else day <= end
        phases.append(replace(whole.part(rows, start), start_day=start, shaken=n > 0))
    return Prepared(tuple(phases), as_of, None, tuple(notes))


def _usable(series: Series, settings: ForecastSettings) -> tuple[Phase, list[str]]:
    notes: list[str] = []
    n = len(series.days)
    day = np.asarray(series.days, dtype=float)
    percent = np.asarray(series.percent, dtype=float)
    if len(percent) != n:
        msg = f"vessel {series.vessel}: {n} days but {len(percent)} percents"
        raise ValueError(msg)
    low, high = _bounds(series.low, n), _bounds(series.high, n)
    sound = np.isfinite(day) & np.isfinite(percent) & (percent >= 0) & (percent <= 100)
    if not sound.all():
        notes.append(f"left out: {_counted(~sound)} without a percent from 0 to 100")
    early = sound & (day < -0.02)
    if early.any():
        notes.append(f"left out: {_counted(early)} dated before inoculation; check the dates")
    late = sound & (day > series.as_of_day + 1e-9) if series.as_of_day is not None else np.zeros(n, dtype=bool)
    keep = sound & ~early & ~late
    order = np.flatnonzero(keep)[np.argsort(day[keep], kind="stable")]
    share = percent[order] / 100.0
    reach = np.fmax(high[order] / 100.0 - share, share - low[order] / 100.0)
    judged = ~(reach >= 0)
    return _merged(np.maximum(day[order], 0.0), share, _spread(share, reach, judged, settings), judged), notes


def _counted(chosen: NDArray[np.bool_]) -> str:
    n = int(chosen.sum())
    return "1 reading" if n == 1 else f"{n} readings"


def _bounds(values: tuple[float | None, ...], n: int) -> Array:
    if len(values) not in (0, n):
        msg = f"bounds must be as many as the readings ({n}), not {len(values)}"
        raise ValueError(msg)
    return np.array([np.nan if v is None else v for v in values] or [np.nan] * n, dtype=float)


def _spread(share: Array, reach: Array, judged: NDArray[np.bool_], settings: ForecastSettings) -> Array:
    """Standard deviation of each share from the reach of its 80 % bounds (to the wider side: the other may be cut)."""
    by_eye = (0.25 + 0.75 * _room(share)) * settings.reading_spread_percent / 100.0
    own = np.maximum(np.where(judged, by_eye, reach / _Z80), _LEAST_SPREAD)
    return np.asarray(np.sqrt(np.square(own) + np.square(LAW_SPREAD * _room(share))))


def _room(share: Array) -> Array:
    return np.sqrt(np.clip(4.0 * share * (1.0 - share), 0.0, 1.0))


def _at_expected(share: Array, spread: Array) -> Array:
    """Spread of each reading, taken at the share of its neighbours rather than at its own.

    Bounds narrow towards 0 and 1. A reading that errs outwards therefore looks more certain than one that errs inwards,
    which would pull the curve outwards and make the day too early. A reading much less certain than others of its share
    keeps its own spread.
    """
    if len(share) < _FEW:
        return spread
    before, after = np.r_[share[0], share[:-1]], np.r_[share[1:], share[-1]]
    order = np.argsort(share, kind="stable")
    usual = np.interp(0.5 * (before + after), share[order], spread[order])
    return np.where(spread > _UNUSUALLY_UNSURE * usual, spread, usual)


def _merged(day: Array, share: Array, spread: Array, judged: NDArray[np.bool_]) -> Phase:
    """One reading for each moment: photos within a few hours become their median, with the smallest of their errors."""
    at = day.tolist()
    starts = [0] if at else []
    for i, one in enumerate(at):
        if one - at[starts[-1]] > _SAME_PHOTO_DAYS:
            starts.append(i)
    if len(starts) < len(at):
        groups = [slice(*ends) for ends in pairwise([*starts, len(at)])]
        shares = share.tolist()  # Python's median of a few numbers is many times as quick as that of arrays
        day, share = np.array([median(at[g]) for g in groups]), np.array([median(shares[g]) for g in groups])
        spread, judged = np.minimum.reduceat(spread, starts), np.logical_and.reduceat(judged, starts)
    return Phase(0.0, False, day, share, _at_expected(share, spread), (share <= 0.0) | (share >= 1.0), judged)
