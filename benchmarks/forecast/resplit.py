"""Other cuts of the same records: only finished batches, some of them cut at a random progress as if they were live.

The live vessels of the records are not used, so conclusions from here can be checked on them.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.optimize import isotonic_regression

from benchmarks.forecast.simulate import Truth
from growth.data import Series

_LIVE_SHARE = 0.45  # of the finished batches, as in the records
_PROGRESS = (10.0, 92.0)  # percent at the cut


def resplit(vessels: Sequence[tuple[Series, Truth]], seed: int) -> list[tuple[Series, Truth]]:
    """The finished vessels, the batches of a random part of them cut; every kind keeps one finished batch or more."""
    rng = np.random.default_rng(seed)
    finished = [(one, truth) for one, truth in vessels if truth.finished]
    live: set[str] = set()
    kinds: dict[str, set[str]] = {}
    for one, _ in finished:
        kinds.setdefault(one.kind, set()).add(one.batch)
    for _, batches in sorted(kinds.items()):
        count = min(max(round(_LIVE_SHARE * len(batches)), 1), len(batches) - 1)
        live.update(rng.permutation(sorted(batches))[:count])
    return [_cut(one, truth, rng) if one.batch in live else (one, truth) for one, truth in finished]


def _cut(one: Series, truth: Truth, rng: np.random.Generator) -> tuple[Series, Truth]:
    order = np.argsort(one.days)
    days, percent = np.array(one.days)[order], np.array(one.percent)[order]
    shaken = one.shaken_days[0] if one.shaken_days else -np.inf
    after = days > shaken
    # monotone through all readings, also after the cut: the first reading above a percent tends to err upwards
    rise = isotonic_regression(percent[after]).x
    aim = rng.uniform(*_PROGRESS) * min(1.0, rise[-1] / 100.0)
    until = float(np.interp(aim, rise + 1e-6 * np.arange(len(rise)), days[after]))
    if truth.through_day is None:  # a stall is cut anywhere, so that some have stopped for long
        until = float(rng.uniform(days[after][0], days[-1]))
    keep = [i for i in order if one.days[i] < until] or [int(order[0])]
    columns = [name for name in ("days", "percent", "low", "high") if getattr(one, name)]
    part: dict[str, Any] = {name: tuple(getattr(one, name)[i] for i in keep) for name in columns}

    shakes = tuple(day for day in one.shaken_days if day < until)
    moment = float(aim if truth.through_day is not None else np.median(percent[-3:]))
    return replace(one, **part, shaken_days=shakes), replace(
        truth, percent_at_cut=moment, cut_day=until, finished=False
    )
