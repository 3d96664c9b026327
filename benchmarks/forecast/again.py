"""Compare the forecasts of batches that were refitted alone with those of a fit of the whole farm at the same time."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from benchmarks.forecast.simulate import PLANS, Truth, simulate
from growth.data import Forecast, ForecastSettings, Series
from growth.forecast import forecast, forecast_and_learn, reforecast_batches

#: Batches with a new photo since the whole fit: 30 of 590 or 620 vessels, half of what a partial refit allows.
_BATCHES = 3
_SETTINGS = ForecastSettings(curve=False)
_EDGES = ("through_median", "through_low", "through_high")


@dataclass
class Distances:
    """Differences in days between two forecasts of median, low and high, over vessels with a day in both.

    width: width of the whole fit's intervals, days; error: error of its median and of the other's, days.
    other_status: vessels whose status differs.
    """

    days: dict[str, list[float]] = field(default_factory=lambda: {edge: [] for edge in _EDGES})
    width: list[float] = field(default_factory=list)
    error: list[tuple[float, float]] = field(default_factory=list)
    other_status: int = 0
    vessels: int = 0

    def add(self, other: Forecast, whole: Forecast, truth: Truth) -> None:
        """Compare two forecasts of a vessel."""
        self.vessels += 1
        if other.through_median is None or whole.through_median is None:
            self.other_status += other.status != whole.status
            return
        self.other_status += other.status != whole.status
        for edge in _EDGES:
            self.days[edge].append(abs(getattr(other, edge) - getattr(whole, edge)))
        self.width.append((whole.through_high or 0.0) - (whole.through_low or 0.0))
        if truth.through_day is not None:
            self.error.append(
                (abs(whole.through_median - truth.through_day), abs(other.through_median - truth.through_day))
            )

    def print(self, name: str) -> None:
        """Four lines."""
        width = f"interval {np.median(self.width):.1f} days wide in the middle"
        print(f"{name}, beside a whole fit: {self.vessels} vessels, {width}")
        for edge, days in self.days.items():
            mean, most = np.mean(days), np.quantile(days, 0.95)
            print(f"  {edge:15s} mean {mean:.3f} d   95 % within {most:.3f} d   farthest {max(days):.2f} d")
        whole, other = np.median(self.error, axis=0)
        print(f"  median error {whole:.3f} d of the whole fit, {other:.3f} d of this; other status {self.other_status}")


def compare_fits(seeds: Sequence[int]) -> dict[str, Distances]:
    """Distances of refitted batches, of their forecasts before the refit, and of the other batches."""
    again, before_it, kept = Distances(), Distances(), Distances()
    for vessels in _farms(seeds):
        truths = {one.vessel: truth for one, truth in vessels}
        now = [one for one, _ in vessels]
        live = list(dict.fromkeys(one.batch for one, truth in vessels if not truth.finished))
        earlier = [_without_newest(one) if one.batch in live else one for one in now]
        before, learned = forecast_and_learn(earlier, settings=_SETTINGS)
        for start in range(0, len(live), _BATCHES):
            seen = live[start : start + _BATCHES]
            series = [new if new.batch in seen else old for new, old in zip(now, earlier, strict=True)]
            whole = forecast(series, settings=_SETTINGS)
            fresh = reforecast_batches([one for one in series if one.batch in seen], learned, settings=_SETTINGS) or ()
            told = {one.vessel: one for one in fresh}
            for old, new in zip(before, whole, strict=True):
                if old.vessel in told:
                    again.add(told[old.vessel], new, truths[old.vessel])
                    before_it.add(old, new, truths[old.vessel])
                elif not truths[old.vessel].finished:
                    kept.add(old, new, truths[old.vessel])
    return {"fitted again": again, "the same before their newest photo": before_it, "left as they were": kept}


def _farms(seeds: Sequence[int]) -> Iterator[list[tuple[Series, Truth]]]:
    """Farms of two plans each: species of the table, and an unknown species with readings without bounds."""
    even, fast, by_eye = (
        next(plan for plan in PLANS if plan.name.startswith(name)) for name in ("even", "fast", "unk")
    )
    for seed in seeds:
        for number, other in enumerate((fast, by_eye)):
            yield simulate(even, 1000 * seed + 10 * number) + simulate(other, 1000 * seed + 10 * number + 1)


def _without_newest(one: Series) -> Series:
    kept = len(one.days) - 1
    parts = {name: getattr(one, name)[:kept] for name in ("days", "percent", "low", "high")}
    return replace(one, **parts)
