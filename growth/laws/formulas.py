"""The formula of each growth law, written once: share colonised (0-1) against a scaled time, and its inverse.

Curves in days (:mod:`growth.laws.curves`) and the laws that forecasts average (:mod:`growth.laws.common_form`) both
call these functions. Arrays keep their precision: single precision in gives single precision out.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]

_LEAST_TIME = 1e-9  # keeps a logarithm finite
_LARGEST_EXPONENT = 60.0  # beyond it a share is 0 or 1 in single precision
_LARGEST_DOUBLE_EXPONENT = 6.0  # the same for exp(exp(x))


def impingement_share(time: Array, order: Array, constant: float = 1.0) -> Array:
    """Impingement kinetics: ``1 - exp(-K t^n)`` for times above 0.

    Coverage by fronts of constant speed from many points. Kolmogorov 1937 (Izv. Akad. Nauk SSSR, Mat. 1: 355),
    Johnson & Mehl 1939 (Trans. AIME 135: 416), Avrami 1939-41 (J. Chem. Phys. 7: 1103). ``order`` n is 2 for points
    present from the start on a plane, 3 for points that keep appearing.
    """
    return np.asarray(1.0 - np.exp(-constant * np.exp(order * np.log(np.maximum(time, _LEAST_TIME)))))


def impingement_time(share: float, order: Array, constant: float) -> Array:
    """Time at which :func:`impingement_share` is ``share``."""
    return np.asarray(np.exp(math.log(-math.log1p(-share) / constant) / order))


def logistic_share(time: Array) -> Array:
    """Logistic: ``1 / (1 + exp(2 - T))`` with ``T = 4 mu/A (t - lag)``.

    mu is the slope at the inflection, whose tangent meets zero at the lag; A is the end. Zwietering et al. 1990, Appl.
    Environ. Microbiol. 56(6): 1875-1881.
    """
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(2.0 - time, -_LARGEST_EXPONENT, _LARGEST_EXPONENT))))


def logistic_time(share: float) -> float:
    """Time at which :func:`logistic_share` is ``share``."""
    return 2.0 + math.log(share / (1.0 - share))


def gompertz_share(time: Array) -> Array:
    """Gompertz: ``exp(-exp(1 - T))`` with ``T = mu e/A (t - lag)``.

    Slow last tenth, inflection at 37 %. Zwietering et al. 1990 (as for :func:`logistic_share`).
    """
    return np.asarray(np.exp(-np.exp(np.clip(1.0 - time, -_LARGEST_EXPONENT, _LARGEST_DOUBLE_EXPONENT))))


def gompertz_time(share: float) -> float:
    """Time at which :func:`gompertz_share` is ``share``."""
    return 1.0 - math.log(-math.log(share))


def richards_share(time: Array, shape: Array) -> Array:
    """Richards: ``(1 + nu e^(1+nu) e^(-T))^(-1/nu)`` with ``T = mu/A (1+nu)^(1+1/nu) (t - lag)``.

    ``shape`` nu, above 0, is 1 for the logistic and tends to the Gompertz at 0. Zwietering et al. 1990 (as for
    :func:`logistic_share`).
    """
    exponent = np.clip(_richards_height(shape) - time, -_LARGEST_EXPONENT, _LARGEST_EXPONENT)
    return np.asarray(np.exp(-np.log1p(np.exp(exponent)) / shape))


def richards_time(share: float, shape: Array) -> Array:
    """Time at which :func:`richards_share` is ``share``."""
    return np.asarray(_richards_height(shape) - np.log(np.expm1(-shape * math.log(share))))


def _richards_height(shape: Array) -> Array:
    return np.asarray(np.log(shape) + 1.0 + shape)


def linear_share(time: Array) -> Array:
    """A front running at a steady rate: ``T = K (t - lag) / H``, cut at 0 and 1.

    K is the rate in mm/day, H the height in mm. Constant rate of a front: Trinci 1971, J. Gen. Microbiol. 67: 325-344;
    race tubes use the same line.
    """
    return np.asarray(np.clip(time, 0.0, 1.0))
