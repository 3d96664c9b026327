"""Forecasts that are kept: made anew only when something that enters them has changed.

Since vessels of a group learn from each other, what enters one forecast is the series of the whole farm: one key for
all. The moment the farm speaks from is not part of it; a kept forecast is spoken from any later one. On a large farm
only the batches that have changed are fitted again (farm/outlook/partial_refit.py).
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

from farm.outlook.partial_refit import LEAST_VESSELS, Asked, digests_as_text, made_from_learned
from farm.store import Farm, adapter_of, now
from farm.store.errors import SpawnrunError
from farm.store.schema import forecasts

if TYPE_CHECKING:
    from growth.data import Forecast, ForecastSettings, Series

#: Sets of forecasts that are kept: today's, and those of a few other moments and laws.
_KEPT = 6


def foretell(
    farm: Farm,
    asked: Sequence[Asked],
    series: "Callable[[Collection[str]], Sequence[Series]]",
    settings: "ForecastSettings",
) -> "list[Forecast]":
    """The forecast of each vessel as of its day, no earlier than its last reading; fitted only if it is not kept.

    series: makes the series of some vessels, by id; called only to fit.
    """
    from growth.forecast import speak_from

    answers = _kept_or_made(farm, asked, series, settings)
    return [speak_from(answer, one.as_of_day) for answer, one in zip(answers, asked, strict=True)]


def _kept_or_made(
    farm: Farm,
    asked: Sequence[Asked],
    series: "Callable[[Collection[str]], Sequence[Series]]",
    settings: "ForecastSettings",
) -> "tuple[Forecast, ...]":
    from growth.data import Forecast
    from growth.forecast import forecast, forecast_and_teach

    base = _digest(_program(), repr(settings))
    key = _digest(base, *(one.key for one in asked))
    answers = adapter_of(tuple[Forecast, ...])
    with farm.reading() as connection:
        known = connection.scalar(select(forecasts.c.answers).where(forecasts.c.key == key))
    if known is not None:
        kept: tuple[Forecast, ...] = answers.validate_json(known)
        return kept

    def whenever(ids: Collection[str]) -> "list[Series]":
        return [replace(one, as_of_day=None) for one in series(ids)]

    everyone = {one.vessel for one in asked}
    learned: dict[str, Any] = {}
    if len(asked) <= LEAST_VESSELS:
        made = forecast(whenever(everyone), settings=settings)
    else:
        learned = {"base": base, "batches": digests_as_text(asked), "whole": key}
        if (found := made_from_learned(farm, base, asked, whenever, settings)) is not None:
            made, learned["whole"] = found
        else:
            made, taught = forecast_and_teach(whenever(everyone), settings=settings)
            learned["taught"] = taught.to_bytes()
    with suppress(SpawnrunError):  # records that another process holds, or that may not be written: it is made again
        _keep(farm, {"key": key, "answers": answers.dump_json(made).decode(), **learned})
    return made


def _keep(farm: Farm, row: dict[str, Any]) -> None:
    """Keep a set of forecasts and the whole fit it rests on; of the others only the newest."""
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
    """Digest of the code and of the tables that make a forecast: another version answers anew."""
    digest = hashlib.sha256()
    calibration = files("calibration")
    sources = [*_files_below(files("growth")), calibration / "species.py", calibration / "species.toml"]
    for source in sources:
        digest.update(source.read_bytes())
    return digest.hexdigest()
