"""Fitting one law to one series by least squares, with standard errors: for looking at a single curve or colony."""

import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from growth.laws import curves

Array = NDArray[np.floating[Any]]
LawFunction = Callable[..., Array]
Bounds = dict[str, tuple[float, float]]

_TOLERANCE = 1e-14
_AT_BOUND = 1e-6  # of the way from bound to bound
_SINGULAR = 1e14
_FEWEST_RADII = 3


@dataclass(frozen=True)
class FittedLaw:
    """A law fitted to one series.

    values, errors: parameters by name with their standard errors (from the Jacobian at the minimum and the residual
    spread on ``n - p`` degrees of freedom). at_bound: names of parameters that sit on a bound, whose errors mean
    little.
    """

    law: str
    values: dict[str, float]
    errors: dict[str, float]
    residual_sum_of_squares: float
    residual_spread: float
    degrees_of_freedom: int
    at_bound: tuple[str, ...] = ()


@dataclass(frozen=True)
class FailedFit:
    """Why a law could not be fitted, in plain words."""

    law: str
    reason: str


@dataclass(frozen=True)
class RadialRate:
    """Radial rate of a colony in mm/day with its standard error, and the day the line leaves ``start_radius_mm``."""

    mm_per_day: float
    error_mm_per_day: float
    lag_days: float
    n_readings: int


#: Laws by name: the function, its first guess, and bounds of each parameter that is fitted.
_LAWS: dict[str, tuple[LawFunction, Callable[..., tuple[float, ...]], Bounds]] = {
    "kjma": (curves.kjma, curves.guess_kjma, {"lag_days": (0, 365), "rate_per_day": (1e-4, 50), "order": (0.3, 8)}),
    "logistic": (curves.logistic, curves.guess_logistic, {"lag_days": (-365, 365), "percent_per_day": (1e-3, 1e4)}),
    "gompertz": (curves.gompertz, curves.guess_gompertz, {"lag_days": (-365, 365), "percent_per_day": (1e-3, 1e4)}),
    "richards": (
        curves.richards,
        curves.guess_richards,
        {"lag_days": (-365, 365), "percent_per_day": (1e-3, 1e4), "shape": (1e-4, 50)},
    ),
    "linear": (curves.linear_front, curves.guess_linear_front, {"lag_days": (0, 365), "percent_per_day": (1e-3, 1e4)}),
    "radial": (
        curves.radial_on_dish,
        curves.guess_radial_on_dish,
        {"lag_days": (0, 365), "rate_mm_per_day": (1e-3, 100)},
    ),
}


def fit_law(
    law: str | LawFunction,
    days: ArrayLike,
    percent: ArrayLike,
    *,
    start: Mapping[str, float] | Sequence[float] | None = None,
    fixed: Mapping[str, float] | None = None,
    spread_percent: ArrayLike | None = None,
    fit_asymptote: bool = False,
) -> FittedLaw | FailedFit:
    """Least-squares fit of one law to one series.

    ``law`` is a name (kjma, logistic, gompertz, richards, linear, radial) or any function of days and parameters.
    ``start`` gives first values (by name, or in the function's order); a function of one's own needs it. ``fixed``
    holds further arguments, as the dish's radius. ``spread_percent``: standard deviation of each reading, None for
    equal ones. ``fit_asymptote`` lets the end of a logistic, Gompertz or Richards curve differ from 100. What cannot
    be fitted is returned as :class:`FailedFit` with a reason.
    """
    function, name, bounds = _resolve(law, start, fit_asymptote)
    day, seen = np.asarray(days, dtype=float), np.asarray(percent, dtype=float)
    if reason := _unfit(day, seen, len(bounds)):
        return FailedFit(name, reason)
    if start is None and np.ptp(seen) == 0:
        return FailedFit(name, "all percents are the same: there is no growth to fit")
    first = _guess(name, bounds, day, seen) if start is None else _given(bounds, start)
    spread = np.ones_like(seen) if spread_percent is None else np.asarray(spread_percent, dtype=float)

    def misfit(values: Array) -> Array:
        return np.asarray((function(day, *values, **(fixed or {})) - seen) / spread)

    low, high = np.array([bounds[p][0] for p in bounds]), np.array([bounds[p][1] for p in bounds])
    margin = np.where(np.isfinite(high - low), 1e-9 * np.maximum(high - low, 1.0), 0.0)
    from scipy.optimize import least_squares  # slow to import, and forecasts do without

    result = least_squares(
        misfit, np.clip(first, low + margin, high - margin), bounds=(low, high), x_scale="jac", jac="3-point",
        ftol=_TOLERANCE, xtol=_TOLERANCE, gtol=_TOLERANCE, max_nfev=5000,
    )  # fmt: skip
    if not result.success:
        return FailedFit(name, f"the fit did not settle: {result.message}")
    return _described(name, bounds, result.x, result.jac, 2.0 * float(result.cost), len(day))


def _unfit(day: Array, seen: Array, n_parameters: int) -> str:
    """Why readings cannot be fitted at all; empty if they can."""
    if day.shape != seen.shape or day.ndim != 1:
        return f"{day.size} days but {seen.size} percents"
    if not (np.isfinite(day).all() and np.isfinite(seen).all()):
        return "days and percents must be finite numbers"
    different = len(set(day.tolist()))
    return "" if different > n_parameters else f"{different} different days are too few for {n_parameters} parameters"


def _resolve(
    law: str | LawFunction, start: Mapping[str, float] | Sequence[float] | None, fit_asymptote: bool
) -> tuple[LawFunction, str, Bounds]:
    if isinstance(law, str):
        if law not in _LAWS:
            msg = f"no growth law is named {law!r}; known: {', '.join(_LAWS)}"
            raise ValueError(msg)
        function, _, bounds = _LAWS[law]
        if fit_asymptote and "asymptote_percent" in inspect.signature(function).parameters:
            bounds = {**bounds, "asymptote_percent": (1e-3, 1e5)}
        return function, law, bounds
    if start is None:
        msg = "a function of your own needs start values"
        raise ValueError(msg)
    names = list(inspect.signature(law).parameters)[1 : 1 + len(start)]
    return law, getattr(law, "__name__", "law"), dict.fromkeys(names, (-np.inf, np.inf))


def _given(bounds: Bounds, start: Mapping[str, float] | Sequence[float]) -> Array:
    return np.array([start[p] for p in bounds] if isinstance(start, Mapping) else list(start), dtype=float)


def _guess(law: str, bounds: Bounds, day: Array, seen: Array) -> Array:
    top = max(float(seen.max()), 1.0) if "asymptote_percent" in bounds else 100.0
    guess = list(_LAWS[law][1](day, seen / top * 100.0))
    if "percent_per_day" in bounds:
        guess[1] *= top / 100.0
    return np.array([*guess, top] if "asymptote_percent" in bounds else guess, dtype=float)


def _described(name: str, bounds: Bounds, values: Array, jacobian: Array, rss: float, n: int) -> FittedLaw | FailedFit:
    freedom = n - len(bounds)
    curvature = jacobian.T @ jacobian
    scale = np.sqrt(np.diagonal(curvature))
    if (scale == 0).any() or np.linalg.cond(curvature / np.outer(scale, scale)) > _SINGULAR:
        return FailedFit(name, "the readings do not fix all of its parameters")
    errors = np.sqrt(np.diagonal(np.linalg.inv(curvature)) * rss / freedom)
    return FittedLaw(
        law=name,
        values=dict(zip(bounds, map(float, values), strict=True)),
        errors=dict(zip(bounds, map(float, errors), strict=True)),
        residual_sum_of_squares=rss,
        residual_spread=float(np.sqrt(rss / freedom)),
        degrees_of_freedom=freedom,
        at_bound=tuple(p for p, value in zip(bounds, values, strict=True) if _on_bound(float(value), *bounds[p])),
    )


def _on_bound(value: float, low: float, high: float) -> bool:
    reach = high - low
    return bool(np.isfinite(reach)) and min(value - low, high - value) < _AT_BOUND * reach


def fit_radial_rate(
    days: ArrayLike, radius_mm: ArrayLike, *, dish_radius_mm: float = 43.0, start_radius_mm: float = 2.5
) -> RadialRate | FailedFit:
    """Radial rate of a colony by a straight line through its radii: ``r = r0 + Kr (t - lag)``.

    Radii still on the plug or already at the rim are left out, for they say nothing about the rate. Constant Kr after
    the lag: Trinci 1969, J. Gen. Microbiol. 57: 11-24; 1971, 67: 325-344.
    """
    day, radius = np.asarray(days, dtype=float), np.asarray(radius_mm, dtype=float)
    if day.shape != radius.shape:
        return FailedFit("radial", f"{day.size} days but {radius.size} radii")
    free = np.isfinite(day) & np.isfinite(radius) & (radius > 1.02 * start_radius_mm) & (radius < 0.98 * dish_radius_mm)
    if len(set(day[free].tolist())) < _FEWEST_RADII:
        return FailedFit("radial", "fewer than three days with the colony between the plug and the rim")
    from scipy.stats import linregress  # slow to import

    line = linregress(day[free], radius[free])
    if line.slope <= 0:
        return FailedFit("radial", "the colony does not grow")
    lag = (start_radius_mm - line.intercept) / line.slope
    return RadialRate(float(line.slope), float(line.stderr), float(lag), int(free.sum()))
