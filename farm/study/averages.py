"""Means of groups with their intervals, and whether they differ from the others."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from farm.study.trace import CANNOT_TELL

#: Share of times in which an interval is meant to hold; one in twenty comparisons is wrong by chance, over all groups.
SURE = 0.95


@dataclass(frozen=True)
class Average:
    """A mean over units (batches, or vessels where batches are compared) with its 95 % interval by Student's t.

    Days and rates differ by factors: they are averaged and tested as logarithms, so that this is a geometric mean.
    low and high are None with fewer than two units. verdict: beside all other groups of the kind, by Welch's t-test.
    """

    mean: float
    low: float | None
    high: float | None
    units: int
    verdict: str


def compare_means(
    values: Sequence[float], others: Sequence[float], n_groups: int, words: tuple[str, str]
) -> Average | None:
    """The mean of some units, and whether it differs from that of others; None of none. words: below, above them.

    Welch's t-test (Welch 1947, Biometrika 34: 28-35), two-sided, at 5 % over all groups (Bonferroni).
    """
    import numpy as np
    from scipy import stats

    if not values:
        return None
    found = np.asarray(values)
    mean, low, high = float(found.mean()), None, None
    if len(found) > 1:
        reach = float(stats.t.ppf(0.5 + SURE / 2.0, len(found) - 1) * found.std(ddof=1) / np.sqrt(len(found)))
        low, high = mean - reach, mean + reach
    verdict = CANNOT_TELL
    if len(found) > 1 and len(others) > 1 and (found.std() > 0 or np.std(others) > 0):
        p_value = float(stats.ttest_ind(found, np.asarray(others), equal_var=False).pvalue)
        if p_value < (1.0 - SURE) / max(n_groups, 1):
            verdict = words[int(mean > float(np.mean(others)))]
    return Average(mean, low, high, len(found), verdict)


def unit_means(values: Iterable[tuple[str, float]]) -> list[float]:
    """The mean of the values of each unit."""
    units: dict[str, list[float]] = {}
    for unit, value in values:
        units.setdefault(unit, []).append(value)
    return [sum(found) / len(found) for found in units.values()]


def not_negative(one: Average) -> Average:
    """The average with an interval that ends at 0: there is no yield below."""
    return Average(one.mean, None if one.low is None else max(one.low, 0.0), one.high, one.units, one.verdict)
