"""Forecasts that are kept: made anew only when something that enters them has changed.

Since vessels of a group learn from each other, what enters one forecast is the series of the whole farm: one key for
all. The moment the farm speaks from is not part of it; a kept forecast is spoken from any later one.
"""

import hashlib
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from sqlalchemy import delete, insert, select

from farm.clock import now
from farm.errors import SpawnrunError
from farm.schema import forecasts
from farm.store import Farm

if TYPE_CHECKING:
    from growth import Forecast, ForecastSettings, Series

#: Sets of forecasts that are kept: today's, and those of a few other moments and laws.
_KEPT = 6


def foretell(
    farm: Farm,
    keys: Sequence[str],
    as_of_days: Sequence[float],
    series: "Callable[[], Sequence[Series]]",
    settings: "ForecastSettings",
) -> "list[Forecast]":
    """The forecast of each series as of its day, no earlier than its last reading; fitted only if it is not kept.

    keys: for each series a text that stands for all of its content. series: makes them, and is called only to fit.
    """
    from growth import speak_from

    answers = _kept_or_made(farm, _key(keys, settings), series, settings)
    return [speak_from(answer, day) for answer, day in zip(answers, as_of_days, strict=True)]


def _kept_or_made(
    farm: Farm, key: str, series: "Callable[[], Sequence[Series]]", settings: "ForecastSettings"
) -> "tuple[Forecast, ...]":
    from pydantic import TypeAdapter

    from growth import Forecast, forecast

    answers = TypeAdapter(tuple[Forecast, ...])
    with farm.reading() as connection:
        known = connection.scalar(select(forecasts.c.answers).where(forecasts.c.key == key))
    if known is not None:
        return answers.validate_json(known)
    made = forecast([replace(one, as_of_day=None) for one in series()], settings=settings)
    with suppress(SpawnrunError):  # records that another process holds, or that may not be written: it is made again
        _keep(farm, key, answers.dump_json(made).decode())
    return made


def _keep(farm: Farm, key: str, answers: str) -> None:
    newest = select(forecasts.c.key).order_by(forecasts.c.made_at.desc(), forecasts.c.key).limit(_KEPT)
    with farm.writing() as connection:
        connection.execute(delete(forecasts).where(forecasts.c.key == key))
        connection.execute(insert(forecasts).values(key=key, made_at=now(), answers=answers))
        connection.execute(delete(forecasts).where(forecasts.c.key.not_in(newest), forecasts.c.key != key))


def _key(keys: Sequence[str], settings: "ForecastSettings") -> str:
    content = "\n".join([_program(), repr(settings), *keys])
    return hashlib.sha256(content.encode()).hexdigest()


@cache
def _program() -> str:
    """Digest of the code and of the tables that make a forecast: another version answers anew."""
    digest = hashlib.sha256()
    sources = [*files("growth").iterdir(), *(files("calibration") / name for name in ("species.py", "species.toml"))]
    for source in sorted(sources, key=lambda one: one.name):
        if source.name.endswith((".py", ".toml", ".npy")):
            digest.update(source.read_bytes())
    return digest.hexdigest()
