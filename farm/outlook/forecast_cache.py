"""The cache of forecasts: a forecast is made again only when something that enters it has changed.

Vessels of a group learn from each other, so a forecast depends on the series of the whole farm, and all share one key.
The key leaves out the farm's now: a cached forecast answers for any later moment. On a large farm only the batches that
have changed are fitted again (farm/outlook/partial_refit.py).
"""

import hashlib
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import TYPE_CHECKING, Any

from farm.outlook.kept_forecasts import keep_forecasts, kept_forecasts
from farm.outlook.partial_refit import LEAST_VESSELS, ForecastRequest, digests_as_text, refit_changed_batches
from farm.store import Farm

if TYPE_CHECKING:
    from growth.data import Forecast, ForecastSettings, Series


def forecast_vessels(
    farm: Farm,
    requests: Sequence[ForecastRequest],
    series: "Callable[[Collection[str]], Sequence[Series]]",
    settings: "ForecastSettings",
    *,
    keep: bool,
) -> "list[Forecast]":
    """The forecast of each vessel as of its day, no earlier than its last reading; fitted only if it is not cached.

    series: makes the series of some vessels, by id; called only to fit. keep: cache what was fitted.
    """
    from growth.data import forecast_as_of

    by_vessel = _cached_or_made(farm, requests, series, settings, keep=keep)
    return [forecast_as_of(by_vessel[one.vessel], one.as_of_day) for one in requests]


def _cached_or_made(
    farm: Farm,
    requests: Sequence[ForecastRequest],
    series: "Callable[[Collection[str]], Sequence[Series]]",
    settings: "ForecastSettings",
    *,
    keep: bool,
) -> "dict[str, Forecast]":
    base = _digest(_program(), repr(settings))
    key = _digest(base, *(one.key for one in requests))
    everyone = {one.vessel for one in requests}
    if (known := kept_forecasts(farm, key)).keys() >= everyone:
        return known
    from growth.forecast import forecast, forecast_and_learn  # numpy, which kept ones do not need

    def without_day(ids: Collection[str]) -> "list[Series]":
        return [replace(one, as_of_day=None) for one in series(ids)]

    learned: dict[str, Any] = {}
    rests_on: dict[str, Forecast] = {}
    if len(requests) <= LEAST_VESSELS:
        made = forecast(without_day(everyone), settings=settings)
    else:
        learned = {"base": base, "batches": digests_as_text(requests), "whole": key}
        if (found := refit_changed_batches(farm, base, requests, without_day, settings)) is not None:
            made, rests_on, learned["whole"] = found
        else:
            made, taught = forecast_and_learn(without_day(everyone), settings=settings)
            learned["taught"] = taught.to_bytes()
    if keep:
        keep_forecasts(farm, key, made, learned)
    return rests_on | {one.vessel: one for one in made}


def _digest(*parts: str) -> str:
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _files_below(folder: Traversable) -> Iterator[Traversable]:
    """The code and data files of a package and its rooms, in an order that is always the same."""
    for one in sorted(folder.iterdir(), key=lambda one: one.name):
        if one.is_dir():
            yield from _files_below(one)
        elif one.name.endswith((".py", ".toml", ".npy")):
            yield one


@cache
def _program() -> str:
    """Digest of the code and the tables that make a forecast, so that another version fits again."""
    digest = hashlib.sha256()
    for source in [*_files_below(files("growth")), *_files_below(files("calibration"))]:
        digest.update(source.read_bytes())
    return digest.hexdigest()
