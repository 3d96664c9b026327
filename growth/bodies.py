"""The growth laws in one common form, so that one pooled forecast can average over them.

Each law is written as a *body* ``X(u; s)``: the share colonised (0-1) against ``u = (t - lag) / span``, where ``span`` is
the days from the lag to nine tenths colonised (``X(1) = 0.9``), with one unbounded shape number ``s`` where the law has
one. Beyond nine tenths time may run slower or faster by a factor ``exp(tail)``: the slow last corner, which no law
knows and records teach. So every law has the same four numbers: log lag, log span, shape, tail.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import Kind
from growth.dish import covered_fraction

Array = NDArray[np.float64]

#: Share colonised at which the body ends and the tail begins.
BODY_SHARE = 0.9

_LN10 = float(np.log(10.0))
_PLUG_SHARE = 0.06  # radius of the inoculum in dish radii: a 5 mm plug on a 90 mm dish (common practice, no source)
_FURTHEST_OFFSET = 0.6  # in dish radii: an inoculum is seldom nearer to the rim than that


@dataclass(frozen=True)
class Body:
    """A law in common form: its name, ``X(u; s)``, ``u(X; s)``, and what is usual for its shape.

    ``shape_spread`` is the standard deviation of the shape among vessels (0: the law has no shape).
    """

    name: str
    share: Callable[[Array, Array], Array]
    when: Callable[[float, Array], Array]
    shape_mean: float
    shape_spread: float


def _kjma_share(u: Array, s: Array) -> Array:
    power = np.exp(np.minimum(np.exp(s) * np.log(np.maximum(u, 1e-9)), 6.0))
    return -np.expm1(-_LN10 * power)


def _kjma_when(share: float, s: Array) -> Array:
    return np.exp(np.log(-np.log1p(-share) / _LN10) * np.exp(-s))


_LOGISTIC_SLOPE = 2.0 + float(np.log(9.0))


def _logistic_share(u: Array, s: Array) -> Array:
    return 1.0 / (1.0 + np.exp(np.clip(2.0 - _LOGISTIC_SLOPE * u, -60.0, 60.0)))


def _logistic_when(share: float, s: Array) -> Array:
    return np.full_like(s, (2.0 + np.log(share / (1.0 - share))) / _LOGISTIC_SLOPE)


_GOMPERTZ_SLOPE = 1.0 - float(np.log(-np.log(BODY_SHARE)))


def _gompertz_share(u: Array, s: Array) -> Array:
    return np.exp(-np.exp(np.clip(1.0 - _GOMPERTZ_SLOPE * u, -60.0, 6.0)))


def _gompertz_when(share: float, s: Array) -> Array:
    return np.full_like(s, (1.0 - np.log(-np.log(share))) / _GOMPERTZ_SLOPE)


def _richards_scale(s: Array) -> tuple[Array, Array, Array]:
    nu = np.exp(np.clip(s, -4.0, 3.0))
    height = np.log(nu) + 1.0 + nu
    slope = height - np.log(np.expm1(-nu * np.log(BODY_SHARE)))
    return nu, height, slope


def _richards_share(u: Array, s: Array) -> Array:
    nu, height, slope = _richards_scale(s)
    return np.exp(-np.log1p(np.exp(np.clip(height - slope * u, -60.0, 60.0))) / nu)


def _richards_when(share: float, s: Array) -> Array:
    nu, height, slope = _richards_scale(s)
    return (height - np.log(np.expm1(-nu * np.log(share)))) / slope


def _linear_share(u: Array, s: Array) -> Array:
    return np.clip(BODY_SHARE * u, 0.0, 1.0)


def _linear_when(share: float, s: Array) -> Array:
    return np.full_like(s, share / BODY_SHARE)


def _offset(s: Array) -> Array:
    return _FURTHEST_OFFSET / (1.0 + np.exp(-np.clip(s, -30.0, 30.0)))


_OFFSETS = np.linspace(0.0, _FURTHEST_OFFSET, 25)
_RADII = np.linspace(0.0, 1.0 + _FURTHEST_OFFSET, 3201)


def _radius_table(share: float) -> Array:
    """Radius (in dish radii) at which a colony at each of ``_OFFSETS`` covers ``share`` of the dish."""
    covered = covered_fraction(_RADII[None, :], _OFFSETS[:, None])
    return np.array([np.interp(share, row, _RADII) for row in covered])


_BODY_RADII = _radius_table(BODY_SHARE)


def _radial_share(u: Array, s: Array) -> Array:
    offset = _offset(s)
    full = np.interp(offset, _OFFSETS, _BODY_RADII)
    radius = np.where(u > 0, _PLUG_SHARE + (full - _PLUG_SHARE) * u, 0.0)
    return covered_fraction(radius, offset)


def _radial_when(share: float, s: Array) -> Array:
    offset = _offset(s)
    full = np.interp(offset, _OFFSETS, _BODY_RADII)
    radius = np.interp(offset, _OFFSETS, _radius_table(share))
    return (radius - _PLUG_SHARE) / (full - _PLUG_SHARE)


BODIES: dict[str, Body] = {
    body.name: body
    for body in (
        Body("kjma", _kjma_share, _kjma_when, float(np.log(1.9)), 0.3),
        Body("logistic", _logistic_share, _logistic_when, 0.0, 0.0),
        Body("gompertz", _gompertz_share, _gompertz_when, 0.0, 0.0),
        Body("richards", _richards_share, _richards_when, -1.0, 0.8),
        Body("linear", _linear_share, _linear_when, 0.0, 0.0),
        Body("radial", _radial_share, _radial_when, -1.0, 1.0),
    )
}

LAWS: tuple[str, ...] = tuple(BODIES)


def laws_for(kind: Kind) -> tuple[str, ...]:
    """Laws that are averaged for one kind: the radial law only on a dish, the linear front everywhere else."""
    shared = ("kjma", "logistic", "gompertz", "richards")
    return (*shared, "radial") if kind == "plate" else (*shared, "linear")


def share_at(body: Body, days: Array, theta: Array) -> Array:
    """Share colonised at ``days`` (…, n) for parameters ``theta`` (…, 4): log lag, log span, shape, tail. Returns (…, n)."""
    lag, span = np.exp(theta[..., 0, None]), np.exp(theta[..., 1, None])
    u = (days - lag) / span
    stretched = 1.0 + (u - 1.0) * np.exp(-theta[..., 3, None])
    return body.share(np.where(u > 1.0, stretched, u), np.broadcast_to(theta[..., 2, None], u.shape))


def days_at(body: Body, share: float, theta: Array) -> Array:
    """Days at which ``share`` (0-1, exclusive) is reached, for ``theta`` (…, 4); the inverse of :func:`share_at`."""
    u = body.when(share, theta[..., 2])
    u = np.where(u > 1.0, 1.0 + (u - 1.0) * np.exp(theta[..., 3]), u)
    return np.maximum(np.exp(theta[..., 0]) + np.exp(theta[..., 1]) * u, 0.0)
