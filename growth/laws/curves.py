"""Growth curves: percent colonised as a pure function of days, each with a first guess of its parameters.

All laws return percents in [0, 100] (times asymptote/100 where there is one) and stay finite for any finite
parameters. Days may be a scalar or an array; parameters broadcast against it.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from growth.laws import formulas
from growth.laws.dish_overlap import covered_fraction

Array = NDArray[np.float64]

_EXPONENT_LIMIT = 700.0
_TINY = 1e-12


def kjma(days: ArrayLike, lag_days: ArrayLike, rate_per_day: ArrayLike, order: ArrayLike) -> Array:
    """Impingement kinetics, ``100 (1 - exp(-(k (t - lag))^n))``: 0 before the lag.

    Formula and sources: :func:`growth.laws.formulas.impingement_share`.
    """
    since = np.maximum(np.subtract(days, lag_days), 0.0)
    time = np.maximum(np.multiply(rate_per_day, since), 0.0)
    return np.where(time > 0, 100.0 * formulas.impingement_share(time, np.asarray(order, dtype=float)), 0.0)


def guess_kjma(days: ArrayLike, percent: ArrayLike) -> tuple[float, float, float]:
    """(lag_days, rate_per_day, order): order 2, through 10 % and 63 % where the readings pass them."""
    early, late = _crossing(days, percent, 10.0), _crossing(days, percent, 63.2)
    lag = max(early - 0.48 * max(late - early, 0.1), 0.0)
    return lag, 1.0 / max(late - lag, 0.1), 2.0


def logistic(
    days: ArrayLike, lag_days: ArrayLike, percent_per_day: ArrayLike, asymptote_percent: ArrayLike = 100.0
) -> Array:
    """Logistic in lag and rate, ``A / (1 + exp(4 mu/A (lag - t) + 2))``.

    ``percent_per_day`` mu is the slope at the inflection, whose tangent meets zero at ``lag_days``. Formula and source:
    :func:`growth.laws.formulas.logistic_share`.
    """
    return np.asarray(asymptote_percent) * formulas.logistic_share(
        4.0 * _part_per_day(percent_per_day, asymptote_percent) * _since_lag(days, lag_days)
    )


def guess_logistic(days: ArrayLike, percent: ArrayLike) -> tuple[float, float]:
    """(lag_days, percent_per_day) from the steepest part of the readings."""
    return _tangent(days, percent)


def gompertz(
    days: ArrayLike, lag_days: ArrayLike, percent_per_day: ArrayLike, asymptote_percent: ArrayLike = 100.0
) -> Array:
    """Gompertz in lag and rate, ``A exp(-exp(mu e/A (lag - t) + 1))``.

    Parameters as for :func:`logistic`. Formula and source: :func:`growth.laws.formulas.gompertz_share`.
    """
    return np.asarray(asymptote_percent) * formulas.gompertz_share(
        np.e * _part_per_day(percent_per_day, asymptote_percent) * _since_lag(days, lag_days)
    )


def guess_gompertz(days: ArrayLike, percent: ArrayLike) -> tuple[float, float]:
    """(lag_days, percent_per_day) from the steepest part of the readings."""
    return _tangent(days, percent)


def richards(
    days: ArrayLike,
    lag_days: ArrayLike,
    percent_per_day: ArrayLike,
    shape: ArrayLike,
    asymptote_percent: ArrayLike = 100.0,
) -> Array:
    """Richards in lag and rate, ``A (1 + nu e^(1+nu) exp(mu/A (1+nu)^(1+1/nu) (lag - t)))^(-1/nu)``.

    ``shape`` is nu (values below 1e-6 are taken as 1e-6); the others as for :func:`logistic`. Formula and source:
    :func:`growth.laws.formulas.richards_share`.
    """
    nu = np.maximum(np.asarray(shape, dtype=float), 1e-6)
    steepness = _exp((1.0 + 1.0 / nu) * np.log1p(nu))
    time = _part_per_day(percent_per_day, asymptote_percent) * steepness * _since_lag(days, lag_days)
    return np.asarray(asymptote_percent) * formulas.richards_share(time, nu)


def guess_richards(days: ArrayLike, percent: ArrayLike) -> tuple[float, float, float]:
    """(lag_days, percent_per_day, shape): the logistic's guess with shape 1."""
    return (*_tangent(days, percent), 1.0)


def linear_front(days: ArrayLike, lag_days: ArrayLike, percent_per_day: ArrayLike) -> Array:
    """A front running at a steady rate down a bag or tube, ``100 K (t - lag) / H``, cut at 0 and 100.

    ``percent_per_day`` is 100 K/H for a rate K in mm/day and a height H in mm. Formula and source:
    :func:`growth.laws.formulas.linear_share`.
    """
    share = formulas.linear_share(np.multiply(percent_per_day, np.subtract(days, lag_days)) / 100.0)
    return np.asarray(100.0 * share, dtype=float)


def guess_linear_front(days: ArrayLike, percent: ArrayLike) -> tuple[float, float]:
    """(lag_days, percent_per_day) through 10 % and 80 % where the readings pass them."""
    early, late = _crossing(days, percent, 10.0), _crossing(days, percent, 80.0)
    rate = 70.0 / max(late - early, 0.1)
    return max(early - 10.0 / rate, 0.0), rate


def radial_on_dish(
    days: ArrayLike,
    lag_days: ArrayLike,
    rate_mm_per_day: ArrayLike,
    dish_radius_mm: float = 43.0,
    inoculum_radius_mm: float = 2.5,
    offset_mm: ArrayLike = 0.0,
) -> Array:
    """Percent of a dish under a colony of radius ``r0 + Kr max(t - lag, 0)``, cut by the rim.

    The inoculum may lie ``offset_mm`` from the centre. Linear radial rate: Trinci 1969 (J. Gen. Microbiol. 57: 11-24)
    and 1971 (67: 325-344); area common to two circles: elementary geometry.
    """
    since = np.maximum(np.subtract(days, lag_days), 0.0)
    radius_mm = np.maximum(inoculum_radius_mm + np.multiply(rate_mm_per_day, since), 0.0)
    size = max(abs(float(dish_radius_mm)), 1e-6)
    return 100.0 * covered_fraction(radius_mm / size, np.abs(np.asarray(offset_mm)) / size)


def guess_radial_on_dish(
    days: ArrayLike, percent: ArrayLike, dish_radius_mm: float = 43.0, inoculum_radius_mm: float = 2.5
) -> tuple[float, float]:
    """(lag_days, rate_mm_per_day) for a central inoculum, from the radii at 10 % and 63 %."""
    early, late = _crossing(days, percent, 10.0), _crossing(days, percent, 63.2)
    inner, outer = dish_radius_mm * 0.10**0.5, dish_radius_mm * 0.632**0.5
    rate = (outer - inner) / max(late - early, 0.1)
    return max(early - max(inner - inoculum_radius_mm, 0.0) / rate, 0.0), rate


def _since_lag(days: ArrayLike, lag_days: ArrayLike) -> Array:
    return np.asarray(np.subtract(days, lag_days), dtype=float)


def _part_per_day(percent_per_day: ArrayLike, asymptote_percent: ArrayLike) -> Array:
    """The rate as a part of the asymptote, which may be 0."""
    top = np.asarray(asymptote_percent, dtype=float)
    return np.asarray(percent_per_day) / np.where(np.abs(top) < _TINY, _TINY, top)


def _exp(exponent: ArrayLike) -> Array:
    return np.asarray(np.exp(np.clip(exponent, -_EXPONENT_LIMIT, _EXPONENT_LIMIT)))


def _crossing(days: ArrayLike, percent: ArrayLike, level: float) -> float:
    """First day at which the running maximum passes ``level``; beyond the readings by their mean rate."""
    order = np.argsort(np.asarray(days, dtype=float), kind="stable")
    day = np.asarray(days, dtype=float)[order]
    risen = np.maximum.accumulate(np.asarray(percent, dtype=float)[order])
    if risen[-1] < level:
        return float(day[-1] * level / max(risen[-1], 1.0)) if day[-1] > 0 else 1.0
    after = int(np.argmax(risen >= level))
    if after == 0:
        return float(day[0])
    share = (level - risen[after - 1]) / max(risen[after] - risen[after - 1], _TINY)
    return float(day[after - 1] + share * (day[after] - day[after - 1]))


def _tangent(days: ArrayLike, percent: ArrayLike) -> tuple[float, float]:
    early, late = _crossing(days, percent, 25.0), _crossing(days, percent, 75.0)
    rate = 50.0 / max(late - early, 0.1)
    return max(early - 25.0 / rate, 0.0), rate
