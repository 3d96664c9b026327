"""The cache of forecasts: a forecast is made again only when something that enters it has changed.

Vessels of a group learn from each other, so a forecast depends on the series of the whole farm, and all share one key.
The key leaves out the farm's now: a cached forecast answers for any later moment. On a large farm only the batches that
have changed are fitted again (farm/outlook/partial_refit.py).
"""

import hashlib
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, insert, select, update

from farm.outlook.partial_refit import LEAST_VESSELS, ForecastRequest, digests_as_text, refit_changed_batches
from farm.store import Farm, adapter_of, now
from farm.store.errors import SpawnrunError
from farm.store.schema import forecasts

if TYPE_CHECKING:
    from growth.data import Forecast, ForecastSettings, Series

#: Sets of forecasts in the cache: today's, and those of a few other moments and laws.
_KEPT = 6


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

    answers = _cached_or_made(farm, requests, series, settings, keep=keep)
    return [forecast_as_of(answer, one.as_of_day) for answer, one in zip(answers, requests, strict=True)]


def _cached_or_made(
    farm: Farm,
    requests: Sequence[ForecastRequest],
    series: "Callable[[Collection[str]], Sequence[Series]]",
    settings: "ForecastSettings",
    *,
    keep: bool,
) -> "tuple[Forecast, ...]":
    from growth.data import Forecast

    base = _digest(_program(), repr(settings))
    key = _digest(base, *(one.key for one in requests))
    answers = adapter_of(tuple[Forecast, ...])
    with farm.reading() as connection:
        known = connection.scalar(select(forecasts.c.answers).where(forecasts.c.key == key))
    if known is not None:
        with suppress(ValueError):  # damaged: they are made again
            kept: tuple[Forecast, ...] = answers.validate_json(known)
            return kept
    from growth.forecast import forecast, forecast_and_learn  # numpy, which kept ones do not need

    def without_day(ids: Collection[str]) -> "list[Series]":
        return [replace(one, as_of_day=None) for one in series(ids)]

    everyone = {one.vessel for one in requests}
    learned: dict[str, Any] = {}
    if len(requests) <= LEAST_VESSELS:
        made = forecast(without_day(everyone), settings=settings)
    else:
        learned = {"base": base, "batches": digests_as_text(requests), "whole": key}
        if (found := refit_changed_batches(farm, base, requests, without_day, settings)) is not None:
            made, learned["whole"] = found
        else:
            made, taught = forecast_and_learn(without_day(everyone), settings=settings)
            learned["taught"] = taught.to_bytes()
    if not keep:
        return made
    with suppress(SpawnrunError):  # the records are busy or read-only: it is made again next time
        _keep(farm, {"key": key, "answers": answers.dump_json(made).decode(), **learned})
    return made


def _keep(farm: Farm, row: dict[str, Any]) -> None:
    """Cache a set of forecasts and the fit of the whole farm it builds on; of the others only the newest stay."""
    newest = select(forecasts.c.key).order_by(forecasts.c.made_at.desc(), forecasts.c.key).limit(_KEPT)
    needed = [row["key"], row.get("whole", row["key"])]
    with farm.writing() as connection:
        connection.execute(delete(forecasts).where(forecasts.c.key == row["key"]))
        connection.execute(insert(forecasts).values(**row, made_at=now()))
        connection.execute(update(forecasts).where(forecasts.c.key.in_(needed)).values(made_at=now()))
        connection.execute(delete(forecasts).where(forecasts.c.key.not_in(newest), forecasts.c.key.not_in(needed)))


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
