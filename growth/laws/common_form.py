"""The growth laws with the same four parameters, so that one pooled forecast can average over them.

Each law gives the share colonised (0-1) against ``u = (t - lag) / span``, where ``span`` is the days from the lag to
90 % (so ``X(1) = 0.9``), with one unbounded shape parameter ``s`` where the law has one. The formulas are those of
:mod:`growth.laws.formulas`. No law describes the last corners well, so beyond 90 % all share one tail: the part still
bare is ``0.1 * 10^-(v (3 + v) / 4)``, where ``v`` is 0 at 90 % and 1 at 99 %. The width of the tail is the law's own
times ``exp(tail)``; records learn_priors it (the form was measured on simulated fronts, benchmarks/forecast).

Readings fix the half-way day best, so that is the first parameter. The second is the part of that time in which the
front was growing (the rest is lag). Every law has the same four: log half-way day, logit of the growing part, shape,
tail.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import Kind, vessel_kinds
from growth.laws import formulas
from growth.laws.dish_overlap import covered_fraction

Array = NDArray[np.floating[Any]]

#: Share colonised up to which the formula holds; the tail begins there.
FORMULA_SHARE = 0.9

_LN10 = math.log(10.0)
_TAIL_BEND = 0.25  # of the way from a tail that dies away evenly to one that ends all at once
_PLUG_SHARE = 0.06  # radius of the inoculum in dish radii: a 5 mm plug on a 90 mm dish (common practice, no source)
_FURTHEST_OFFSET = 0.6  # in dish radii: an inoculum is seldom nearer to the rim than that


@dataclass(frozen=True)
class GrowthLaw:
    """A law: its name, what a grower sees, ``share`` ``X(u; s)``, its inverse ``time_at`` ``u(X; s)``, usual shape.

    ``shape_spread`` is the standard deviation of the shape among vessels (0: the law has no shape).
    """

    name: str
    words: str
    share: Callable[[Array, Array], Array]
    time_at: Callable[[float, Array], Array]
    shape_mean: float
    shape_spread: float


def _order(s: Array) -> Array:
    """Order of impingement kinetics: about 1.5-3 for real fronts, and held between 0.9 and 6."""
    return np.asarray(np.exp(np.clip(s, -0.1, 1.8)))


def _kjma_share(u: Array, s: Array) -> Array:
    return formulas.impingement_share(u, _order(s), _LN10)


def _kjma_time(share: float, s: Array) -> Array:
    return formulas.impingement_time(share, _order(s), _LN10)


_LOGISTIC_SPAN = formulas.logistic_time(FORMULA_SHARE)


def _logistic_share(u: Array, _: Array) -> Array:
    return formulas.logistic_share(_LOGISTIC_SPAN * u)


def _logistic_time(share: float, s: Array) -> Array:
    return np.full_like(s, formulas.logistic_time(share) / _LOGISTIC_SPAN)


_GOMPERTZ_SPAN = formulas.gompertz_time(FORMULA_SHARE)


def _gompertz_share(u: Array, _: Array) -> Array:
    return formulas.gompertz_share(_GOMPERTZ_SPAN * u)


def _gompertz_time(share: float, s: Array) -> Array:
    return np.full_like(s, formulas.gompertz_time(share) / _GOMPERTZ_SPAN)


def _richards_shape(s: Array) -> Array:
    return np.asarray(np.exp(np.clip(s, -4.0, 3.0)))


def _richards_share(u: Array, s: Array) -> Array:
    shape = _richards_shape(s)
    return formulas.richards_share(formulas.richards_time(FORMULA_SHARE, shape) * u, shape)


def _richards_time(share: float, s: Array) -> Array:
    shape = _richards_shape(s)
    return np.asarray(formulas.richards_time(share, shape) / formulas.richards_time(FORMULA_SHARE, shape))


def _linear_share(u: Array, _: Array) -> Array:
    return formulas.linear_share(FORMULA_SHARE * u)


def _linear_time(share: float, s: Array) -> Array:
    return np.full_like(s, share / FORMULA_SHARE)


def _offset(s: Array) -> Array:
    return _FURTHEST_OFFSET / (1.0 + np.exp(-np.clip(s, -30.0, 30.0)))


_OFFSETS = np.linspace(0.0, _FURTHEST_OFFSET, 25)
_RADII = np.linspace(0.0, 1.0 + _FURTHEST_OFFSET, 3201)


@cache
def _radius_table(share: float) -> Array:
    """Radius (in dish radii) at which a colony at each of ``_OFFSETS`` covers ``share`` of the dish."""
    covered = covered_fraction(_RADII[None, :], _OFFSETS[:, None])
    return np.array([np.interp(share, row, _RADII) for row in covered])


def _radius(share: float, offset: Array) -> Array:
    return np.interp(offset, _OFFSETS, _radius_table(share)).astype(offset.dtype)


def _radial_share(u: Array, s: Array) -> Array:
    offset = _offset(s)
    reach = _radius(FORMULA_SHARE, offset) - _PLUG_SHARE
    return covered_fraction(np.where(u > 0, _PLUG_SHARE + reach * u, 0.0), offset)


def _radial_time(share: float, s: Array) -> Array:
    offset = _offset(s)
    return (_radius(share, offset) - _PLUG_SHARE) / (_radius(FORMULA_SHARE, offset) - _PLUG_SHARE)


GROWTH_LAWS: dict[str, GrowthLaw] = {
    law.name: law
    for law in (
        GrowthLaw("kjma", "many patches that grow together", _kjma_share, _kjma_time, math.log(1.9), 0.3),
        GrowthLaw("logistic", "an even S", _logistic_share, _logistic_time, 0.0, 0.0),
        GrowthLaw("gompertz", "a quick start and a slow end", _gompertz_share, _gompertz_time, 0.0, 0.0),
        GrowthLaw("richards", "an S bent either way", _richards_share, _richards_time, -1.0, 0.8),
        GrowthLaw("linear", "one front at a steady pace", _linear_share, _linear_time, 0.0, 0.0),
        GrowthLaw("radial", "a round colony on a dish", _radial_share, _radial_time, -1.0, 1.0),
    )
}

LAWS: tuple[str, ...] = tuple(GROWTH_LAWS)

#: What a grower sees of each law.
LAW_WORDS: dict[str, str] = {name: law.words for name, law in GROWTH_LAWS.items()}


def laws_for(kind: Kind) -> tuple[str, ...]:
    """Laws that are averaged for one kind: the radial law only on a dish, the linear front everywhere else."""
    shared = ("kjma", "logistic", "gompertz", "richards")
    return (*shared, "radial") if vessel_kinds()[kind].is_dish else (*shared, "linear")


def timing(law: GrowthLaw, theta: Array) -> tuple[Array, Array]:
    """(lag, span) in days, each (...), for ``theta`` (..., 4): log half-way day, logit of its growing part, shape,
    tail.
    """
    half_day, growing = np.exp(theta[..., 0]), 1.0 / (1.0 + np.exp(-theta[..., 1]))
    return half_day * (1.0 - growing), half_day * growing / law.time_at(0.5, theta[..., 2])


def share_at(law: GrowthLaw, days: Array, theta: Array) -> Array:
    """Share colonised at ``days`` (..., n) for parameters ``theta`` (..., 4); returns (..., n)."""
    lag, span = timing(law, theta)
    u = (days - lag[..., None]) / span[..., None]
    shape = theta[..., 2, None]
    beyond = np.maximum(u - 1.0, 0.0)
    beyond /= _tail_width(law, theta)[..., None]
    beyond *= (1.0 - _TAIL_BEND) + _TAIL_BEND * beyond
    beyond *= -_LN10
    bare = 1.0 - law.share(np.minimum(u, 1.0), shape)
    return np.asarray(1.0 - bare * np.exp(beyond, out=beyond))


def days_at(law: GrowthLaw, share: float, theta: Array) -> Array:
    """Days at which ``share`` (0-1, exclusive) is reached, for ``theta`` (..., 4); the inverse of :func:`share_at`."""
    lag, span = timing(law, theta)
    return np.maximum(lag + span * spans_at(law, share, theta), 0.0)


def spans_at(law: GrowthLaw, share: float, theta: Array) -> Array:
    """Spans from the lag until ``share`` (0-1, exclusive) is reached; only shape and tail of ``theta`` (..., 4)
    matter.
    """
    if share <= FORMULA_SHARE:
        return law.time_at(share, theta[..., 2])
    tenths = math.log10((1.0 - FORMULA_SHARE) / (1.0 - share))
    straight = (1.0 - _TAIL_BEND) / (2.0 * _TAIL_BEND)
    stretch = math.sqrt(straight**2 + tenths / _TAIL_BEND) - straight
    return np.asarray(1.0 + stretch * _tail_width(law, theta))


def _tail_width(law: GrowthLaw, theta: Array) -> Array:
    """Spans from nine tenths to ninety-nine hundredths."""
    return np.asarray((1.0 - law.time_at(0.3, theta[..., 2])) * np.exp(theta[..., 3]))
