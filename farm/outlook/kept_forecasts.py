"""Sets of forecasts kept in the records. One that rests on a fit of the whole farm holds only what differs from it."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, insert, select, update

from farm.store import Farm, adapter_of, now
from farm.store.errors import SpawnrunError
from farm.store.schema import forecasts

if TYPE_CHECKING:
    from growth.data import Forecast

#: Sets that are kept: today's, and those of a few other moments and laws; besides the whole fits that they rest on.
_KEPT = 6


def kept_forecasts(farm: Farm, key: str) -> "dict[str, Forecast]":
    """The forecasts of the set of this key by vessel; {} where it is not kept, or is damaged."""
    from growth.data import Forecast

    columns = select(forecasts.c.key, forecasts.c.answers, forecasts.c.whole)
    with farm.reading() as connection:
        own = connection.execute(columns.where(forecasts.c.key == key)).first()
        if own is None:
            return {}
        rests_on = own.whole not in (None, key)
        rows = [connection.execute(columns.where(forecasts.c.key == own.whole)).first(), own] if rests_on else [own]
    if any(row is None for row in rows):
        return {}
    adapter = adapter_of(tuple[Forecast, ...])
    with suppress(ValueError):  # damaged
        return {one.vessel: one for row in rows if row is not None for one in adapter.validate_json(row.answers)}
    return {}


def keep_forecasts(farm: Farm, key: str, made: "Sequence[Forecast]", learned: Mapping[str, Any]) -> None:
    """Keep a set; of the others only the newest stay. learned: the other columns of its row; {} for a small farm.

    made: all of the farm's, or, of a set that rests on another (learned["whole"]), those that differ from it.
    """
    from growth.data import Forecast

    answers = adapter_of(tuple[Forecast, ...]).dump_json(tuple(made)).decode()
    by_age = select(forecasts.c.key, forecasts.c.whole).order_by(forecasts.c.made_at.desc(), forecasts.c.key)
    needed = {key, learned.get("whole", key)}
    with suppress(SpawnrunError), farm.writing() as connection:  # records that are busy or read-only: made again
        connection.execute(delete(forecasts).where(forecasts.c.key == key))
        connection.execute(insert(forecasts).values(key=key, answers=answers, **learned, made_at=now()))
        connection.execute(update(forecasts).where(forecasts.c.key.in_(needed)).values(made_at=now()))
        newest = connection.execute(by_age.limit(_KEPT)).all()
        stay = needed | {one for row in newest for one in (row.key, row.whole) if one is not None}
        connection.execute(delete(forecasts).where(forecasts.c.key.not_in(stay)))
