"""The growth laws in one common form, so that one pooled forecast can average over them.

Each law is written as a *body* ``X(u; s)``: the share colonised (0-1) against ``u = (t - lag) / span``, where ``span``
is the days from the lag to nine tenths colonised (``X(1) = 0.9``), with one unbounded shape number ``s`` where the law
has one. Beyond nine tenths the bare rest dies away as ``10^-(v (3 + v) / 4)``, where ``v`` is 1 at ninety-nine
hundredths and its width is the law's own times ``exp(tail)``: the last corners, which no law knows and records teach
(the form was measured on simulated fronts, benchmarks/forecast). Readings fix the day of half colonised best, so that
is the first number; the second is which part of that time the front was growing (the rest is lag). Every law thus has
the same four numbers: log half-way day, logit of the growing part, shape, tail.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import Kind
from growth.laws.dish_overlap import covered_fraction

Array = NDArray[np.floating[Any]]

#: Share colonised at which the body ends and the tail begins.
BODY_SHARE = 0.9

_LN10 = math.log(10.0)
_TAIL_BEND = 0.25  # of the way from a tail that dies away evenly to one that ends all at once
_PLUG_SHARE = 0.06  # radius of the inoculum in dish radii: a 5 mm plug on a 90 mm dish (common practice, no source)
_FURTHEST_OFFSET = 0.6  # in dish radii: an inoculum is seldom nearer to the rim than that


@dataclass(frozen=True)
class Body:
    """A law in common form: its name, what a grower sees, ``X(u; s)``, ``u(X; s)``, and what is usual for its shape.

    ``shape_spread`` is the standard deviation of the shape among vessels (0: the law has no shape).
    """

    name: str
    words: str
    share: Callable[[Array, Array], Array]
    when: Callable[[float, Array], Array]
    shape_mean: float
    shape_spread: float


def _order(s: Array) -> Array:
    """Order of impingement kinetics: about 1.5-3 for real fronts, and held between 0.9 and 6."""
    return np.asarray(np.exp(np.clip(s, -0.1, 1.8)))


def _kjma_share(u: Array, s: Array) -> Array:
    return 1.0 - np.exp(-_LN10 * np.exp(_order(s) * np.log(np.maximum(u, 1e-9))))


def _kjma_when(share: float, s: Array) -> Array:
    return np.asarray(np.exp(math.log(-math.log1p(-share) / _LN10) / _order(s)))


_LOGISTIC_SLOPE = 2.0 + math.log(9.0)


def _logistic_share(u: Array, _: Array) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(2.0 - _LOGISTIC_SLOPE * u, -60.0, 60.0))))


def _logistic_when(share: float, s: Array) -> Array:
    return np.full_like(s, (2.0 + math.log(share / (1.0 - share))) / _LOGISTIC_SLOPE)


_GOMPERTZ_SLOPE = 1.0 - math.log(-math.log(BODY_SHARE))


def _gompertz_share(u: Array, _: Array) -> Array:
    return np.asarray(np.exp(-np.exp(np.clip(1.0 - _GOMPERTZ_SLOPE * u, -60.0, 6.0))))


def _gompertz_when(share: float, s: Array) -> Array:
    return np.full_like(s, (1.0 - math.log(-math.log(share))) / _GOMPERTZ_SLOPE)


def _richards_scale(s: Array) -> tuple[Array, Array, Array]:
    nu = np.exp(np.clip(s, -4.0, 3.0))
    height = np.log(nu) + 1.0 + nu
    slope = height - np.log(np.expm1(-nu * math.log(BODY_SHARE)))
    return nu, height, slope


def _richards_share(u: Array, s: Array) -> Array:
    nu, height, slope = _richards_scale(s)
    return np.asarray(np.exp(-np.log1p(np.exp(np.clip(height - slope * u, -60.0, 60.0))) / nu))


def _richards_when(share: float, s: Array) -> Array:
    nu, height, slope = _richards_scale(s)
    return np.asarray((height - np.log(np.expm1(-nu * math.log(share)))) / slope)


def _linear_share(u: Array, _: Array) -> Array:
    return np.asarray(np.clip(BODY_SHARE * u, 0.0, 1.0))


def _linear_when(share: float, s: Array) -> Array:
    return np.full_like(s, share / BODY_SHARE)


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
    reach = _radius(BODY_SHARE, offset) - _PLUG_SHARE
    return covered_fraction(np.where(u > 0, _PLUG_SHARE + reach * u, 0.0), offset)


def _radial_when(share: float, s: Array) -> Array:
    offset = _offset(s)
    return (_radius(share, offset) - _PLUG_SHARE) / (_radius(BODY_SHARE, offset) - _PLUG_SHARE)


BODIES: dict[str, Body] = {
    body.name: body
    for body in (
        Body("kjma", "many patches that grow together", _kjma_share, _kjma_when, math.log(1.9), 0.3),
        Body("logistic", "an even S", _logistic_share, _logistic_when, 0.0, 0.0),
        Body("gompertz", "a quick start and a slow end", _gompertz_share, _gompertz_when, 0.0, 0.0),
        Body("richards", "an S bent either way", _richards_share, _richards_when, -1.0, 0.8),
        Body("linear", "one front at a steady pace", _linear_share, _linear_when, 0.0, 0.0),
        Body("radial", "a round colony on a dish", _radial_share, _radial_when, -1.0, 1.0),
    )
}

LAWS: tuple[str, ...] = tuple(BODIES)

#: What a grower sees of each law.
LAW_WORDS: dict[str, str] = {name: body.words for name, body in BODIES.items()}


def laws_for(kind: Kind) -> tuple[str, ...]:
    """Laws that are averaged for one kind: the radial law only on a dish, the linear front everywhere else."""
    shared = ("kjma", "logistic", "gompertz", "richards")
    return (*shared, "radial") if kind == "plate" else (*shared, "linear")


def timing(body: Body, theta: Array) -> tuple[Array, Array]:
    """(lag, span) in days, each (...), for ``theta`` (..., 4): log half-way day, logit of its growing part, shape,
    tail.
    """
    half_day, growing = np.exp(theta[..., 0]), 1.0 / (1.0 + np.exp(-theta[..., 1]))
    return half_day * (1.0 - growing), half_day * growing / body.when(0.5, theta[..., 2])


def share_at(body: Body, days: Array, theta: Array) -> Array:
    """Share colonised at ``days`` (..., n) for parameters ``theta`` (..., 4); returns (..., n)."""
    lag, span = timing(body, theta)
    u = (days - lag[..., None]) / span[..., None]
    shape = theta[..., 2, None]
    beyond = np.maximum(u - 1.0, 0.0)
    beyond /= _tail_width(body, theta)[..., None]
    beyond *= (1.0 - _TAIL_BEND) + _TAIL_BEND * beyond
    beyond *= -_LN10
    bare = 1.0 - body.share(np.minimum(u, 1.0), shape)
    return np.asarray(1.0 - bare * np.exp(beyond, out=beyond))


def days_at(body: Body, share: float, theta: Array) -> Array:
    """Days at which ``share`` (0-1, exclusive) is reached, for ``theta`` (..., 4); the inverse of :func:`share_at`."""
    lag, span = timing(body, theta)
    return np.maximum(lag + span * spans_at(body, share, theta), 0.0)


def spans_at(body: Body, share: float, theta: Array) -> Array:
    """Spans from the lag until ``share`` (0-1, exclusive) is reached; only shape and tail of ``theta`` (..., 4)
    matter.
    """
    if share <= BODY_SHARE:
        return body.when(share, theta[..., 2])
    tenths = math.log10((1.0 - BODY_SHARE) / (1.0 - share))
    straight = (1.0 - _TAIL_BEND) / (2.0 * _TAIL_BEND)
    stretch = math.sqrt(straight**2 + tenths / _TAIL_BEND) - straight
    return np.asarray(1.0 + stretch * _tail_width(body, theta))


def _tail_width(body: Body, theta: Array) -> Array:
    """Spans from nine tenths to ninety-nine hundredths."""
    return np.asarray((1.0 - body.when(0.3, theta[..., 2])) * np.exp(theta[..., 3]))
