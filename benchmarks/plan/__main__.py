"""Print how often the 80 % interval contains a batch's day: the day on which eight of its ten blocks are through.

    python -m benchmarks.plan --farms 80

Invented farms: four finished batches of six blocks of oyster on straw, one of ten read up to day 6, and one of ten not
yet inoculated. Rates differ by 15 % between farms, 20 % between batches and 10 % within one; readings err by 2 points.
"""

import argparse

import numpy as np
from numpy.typing import NDArray

from growth.data import Series
from growth.forecast import draw_days
from growth.laws import kjma

Array = NDArray[np.float64]

_LAG_DAYS, _ORDER, _RATE = 3.0, 2.0, 0.14
_BETWEEN_FARMS, _BETWEEN_BATCHES, _WITHIN = 0.15, 0.2, 0.1
_WANTED, _OF = 8, 10


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--farms", type=int, default=80)
    farms = parser.parse_args().farms
    chance = np.random.default_rng(7)
    held: dict[tuple[str, str], list[bool]] = {}
    for _ in range(farms):
        for (batch, way), found in _one_farm(chance).items():
            held.setdefault((batch, way), []).append(found)
    for (batch, way), all_found in sorted(held.items()):
        print(f"{batch:8} {way:12} {np.mean(all_found):5.0%} of {len(all_found)}")


def _one_farm(chance: np.random.Generator) -> dict[tuple[str, str], bool]:
    farm_rate = _RATE * np.exp(_BETWEEN_FARMS * chance.standard_normal())
    series: list[Series] = []
    for number in range(4):
        series += _batch(chance, f"H{number}", 6, farm_rate, until=None)[0]
    young, young_days = _batch(chance, "young", _OF, farm_rate, until=6.0)
    _, coming_days = _batch(chance, "coming", _OF, farm_rate, until=0.5)
    coming = [Series(f"C{n}", "block", "oyster", "straw", batch="coming") for n in range(_OF)]
    drawn = draw_days([*series, *young, *coming]).through
    first = len(series)
    results = {}
    for batch, truth, start in (("young", young_days, first), ("to come", coming_days, first + _OF)):
        rows = drawn[start : start + _OF]
        alone = np.array([chance.permutation(row) for row in rows])
        day = np.sort(truth)[_WANTED - 1]
        for way, draws in (("joint", rows), ("each alone", alone)):
            low, high = np.quantile(np.sort(draws, axis=0)[_WANTED - 1], [0.1, 0.9])
            results[batch, way] = bool(low <= day <= high)
    return results


def _batch(
    chance: np.random.Generator, name: str, size: int, farm_rate: float, until: float | None
) -> tuple[list[Series], Array]:
    """Series of a batch, read every other day until a day (None: long after it is through), and true days to 99 %."""
    batch_rate = farm_rate * np.exp(_BETWEEN_BATCHES * chance.standard_normal())
    rates = batch_rate * np.exp(_WITHIN * chance.standard_normal(size))
    through = _LAG_DAYS + np.log(100.0) ** (1.0 / _ORDER) / rates
    made = []
    for number, (rate, day) in enumerate(zip(rates, through, strict=True)):
        days = np.arange(0.4, until or day + 3.0, 2.0)
        share = np.clip(kjma(days, _LAG_DAYS, rate, _ORDER) / 100.0 + 0.02 * chance.standard_normal(len(days)), 0, 1)
        low, high = np.maximum(share - 0.026, 0), np.minimum(share + 0.026, 1)
        made.append(
            Series(
                f"{name}{number}",
                "block",
                "oyster",
                "straw",
                name,
                days=tuple(map(float, days)),
                percent=tuple(100 * share),
                low=tuple(100 * low),
                high=tuple(100 * high),
            )
        )
    return made, through


if __name__ == "__main__":
    main()
