"""Print how often the 80 % interval of a plan's weight contains what two batches yield.

    python -m benchmarks.plan.harvests --farms 1000

Invented farms: some batches of eight vessels that fruited to the end, and two of eight that are to come. Yields differ
by 20 % between batches and 25 % within one (normal).
"""

import argparse

import numpy as np
from numpy.typing import NDArray

from farm.plan.fruiting_ahead import drawn, widened

Array = NDArray[np.float64]

_BETWEEN, _WITHIN, _MEAN_KG = 0.2, 0.25, 0.5
_VESSELS, _COMING, _DRAWS = 8, ("A", "B"), 800
_KNOWN_BATCHES = (3, 5, 10, 20)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--farms", type=int, default=1000)
    farms = parser.parse_args().farms
    for known in _KNOWN_BATCHES:
        chance = np.random.default_rng(1)
        held = [_one_farm(chance, known) for _ in range(farms)]
        print(f"{known:3} batches known {np.mean(held):5.0%} of {farms}")


def _one_farm(chance: np.random.Generator, known: int) -> bool:
    past = np.concatenate([_batch(chance) for _ in range(known)])
    trials = [f"P{n:02}" for n in range(known) for _ in range(_VESSELS)]
    yields = widened(past[:, None], trials)[:, 0]
    coming = [batch for batch in _COMING for _ in range(_VESSELS)]
    low, high = np.quantile(yields[drawn(trials, coming, _DRAWS)].sum(axis=0), [0.1, 0.9])
    return bool(low <= sum(float(_batch(chance).sum()) for _ in _COMING) <= high)


def _batch(chance: np.random.Generator) -> Array:
    own = chance.normal(1.0, _BETWEEN)
    found: Array = np.maximum(_MEAN_KG * own * chance.normal(1.0, _WITHIN, _VESSELS), 0.0)
    return found


if __name__ == "__main__":
    main()
