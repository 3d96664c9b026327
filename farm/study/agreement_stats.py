"""How two ways of measuring the same things agree: bias, limits of agreement, concordance."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atanh, sqrt, tanh

#: Differences within this many standard deviations are 95 of 100, as Bland and Altman take it.
_LIMITS_SD = 1.96


@dataclass(frozen=True)
class Estimate:
    """A figure with its 95 % interval; None where too little is known for one."""

    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class MethodAgreement:
    """Agreement of n pairs; differences are second minus first.

    limits: between which 95 of 100 differences are expected, each with its interval; None below three pairs.
    concordance: Lin's coefficient, None where it is not defined (no spread in either).
    """

    n: int
    bias: Estimate
    mean_difference: float
    limits: tuple[Estimate, Estimate] | None
    concordance: Estimate | None


def agreement_of(first: Sequence[float], second: Sequence[float]) -> MethodAgreement:
    """Bias and limits of agreement after Bland and Altman, The Lancet 327:307-310, 1986, and Lin's concordance.

    The intervals take the pairs for independent. mean_difference is that of absolute differences. Raises ValueError
    for no pair, or sequences of unequal length.
    """
    from scipy.stats import t

    if len(first) != len(second) or not first:
        raise ValueError("one or more pairs are needed")
    differences = [b - a for a, b in zip(first, second, strict=True)]
    n = len(differences)
    bias = sum(differences) / n
    mean_difference = sum(map(abs, differences)) / n
    if n < 3:
        return MethodAgreement(n, Estimate(bias), mean_difference, None, None)
    sd = sqrt(sum((one - bias) ** 2 for one in differences) / (n - 1))
    deviate = float(t.ppf(0.975, n - 1))
    of_bias, of_limit = deviate * sd / sqrt(n), deviate * sd * sqrt(3 / n)
    ends = (bias - _LIMITS_SD * sd, bias + _LIMITS_SD * sd)
    limits = tuple(Estimate(end, end - of_limit, end + of_limit) for end in ends)
    return MethodAgreement(
        n,
        Estimate(bias, bias - of_bias, bias + of_bias),
        mean_difference,
        (limits[0], limits[1]),
        concordance(first, second),
    )


def concordance(first: Sequence[float], second: Sequence[float]) -> Estimate | None:
    """Lin's concordance coefficient with a 95 % interval: 1 is equal pair by pair, 0 no agreement at all.

    rho_c = 2 s_xy / (s_x^2 + s_y^2 + (mean_x - mean_y)^2), moments divided by n: Lin, Biometrics 45:255-268, 1989. The
    interval is by his Z transformation with the variance as corrected in Biometrics 56:324-325, 2000 (both formulas
    from memory; tests hold the interval against how often it holds the truth). None where neither has any spread.
    """
    from scipy.stats import norm

    n = len(first)
    mean_x, mean_y = sum(first) / n, sum(second) / n
    var_x, var_y = sum((x - mean_x) ** 2 for x in first) / n, sum((y - mean_y) ** 2 for y in second) / n
    cov = sum((x - mean_x) * (y - mean_y) for x, y in zip(first, second, strict=True)) / n
    spread = var_x + var_y + (mean_x - mean_y) ** 2
    if spread == 0:
        return None
    rho_c = 2 * cov / spread
    if n < 4 or var_x == 0 or var_y == 0 or cov == 0:
        return Estimate(rho_c)
    r, shift_2 = cov / sqrt(var_x * var_y), (mean_x - mean_y) ** 2 / sqrt(var_x * var_y)
    left = 1 - rho_c**2
    if left < 1e-12:
        return Estimate(rho_c, rho_c, rho_c)
    variance = (
        (1 - r**2) * rho_c**2 / (left * r**2)
        + 2 * rho_c**3 * (1 - rho_c) * shift_2 / (r * left**2)
        - rho_c**4 * shift_2**2 / (2 * r**2 * left**2)
    ) / (n - 2)
    reach = float(norm.ppf(0.975)) * sqrt(max(0.0, variance))
    return Estimate(rho_c, tanh(atanh(rho_c) - reach), tanh(atanh(rho_c) + reach))
