"""Fit only the changed batches of a large farm again, with the priors that a fit of the whole farm has learned.

A batch is the smallest part that can be fitted by itself, since its vessels are early or late together. The result
depends on the fit of the whole farm and on the batches that differ from it now, not on forecasts made in between.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from hashlib import sha256
from json import dumps, loads
from typing import TYPE_CHECKING

from sqlalchemy import select

from farm.store import Farm, adapter_of
from farm.store.schema import forecasts

if TYPE_CHECKING:
    from growth.data import Forecast, ForecastSettings, Series

#: A smaller farm is fitted as a whole each time: in a second or two, and each vessel is worth more to the others.
LEAST_VESSELS = 300
#: Share of the vessels that may stand in batches that have changed since the whole fit: the farm goes on learning.
_MOST_CHANGED = 0.1


@dataclass(frozen=True)
class ForecastRequest:
    """A vessel to forecast. key: identifies its series; as_of_day: the day since inoculation to forecast from."""

    vessel: str
    batch: str
    key: str
    as_of_day: float


def batches_of(requests: Sequence[ForecastRequest]) -> dict[str, list[ForecastRequest]]:
    """The vessels by batch; one without a batch is a batch of its own."""
    batches: dict[str, list[ForecastRequest]] = {}
    for one in requests:
        batches.setdefault(one.batch or f" {one.vessel}", []).append(one)
    return batches


def digests_as_text(requests: Sequence[ForecastRequest]) -> str:
    """A digest of each batch's data, as JSON text. Kept with a fit of the whole farm, it shows what has changed."""
    return dumps({name: _digest(some) for name, some in batches_of(requests).items()})


def _digest(batch: Sequence[ForecastRequest]) -> str:
    return sha256("\n".join(f"{one.vessel} {one.key}" for one in batch).encode()).hexdigest()


def refit_changed_batches(
    farm: Farm,
    base: str,
    requests: Sequence[ForecastRequest],
    series: "Callable[[Collection[str]], Sequence[Series]]",
    settings: "ForecastSettings",
) -> "tuple[tuple[Forecast, ...], str] | None":
    """The forecasts of a farm that differs little from one that was fitted as a whole, and the key of that fit.

    None where there is no such fit. base: digest of all that enters a fit but the vessels. series: makes the series of
    some vessels, by id.
    """
    from growth.data import Forecast
    from growth.fit import LearnedPriors
    from growth.forecast import reforecast_batches

    near = _nearest(farm, base, batches_of(requests))
    if near is None:
        return None
    with farm.reading() as connection:
        answers = connection.scalar(select(forecasts.c.answers).where(forecasts.c.key == near.key))
        taught = connection.scalar(select(forecasts.c.taught).where(forecasts.c.key == near.whole))
    if answers is None or taught is None:
        return None
    try:
        before = adapter_of(tuple[Forecast, ...]).validate_json(answers)
    except ValueError:  # damaged: all is made again
        return None
    by_vessel = {one.vessel: one for one in before if one.vessel not in near.changed}
    notes = {note for one in by_vessel.values() for note in one.notes}
    again = reforecast_batches(
        series(near.changed), LearnedPriors.from_bytes(taught), already_given=notes, settings=settings
    )
    if again is None:
        return None
    by_vessel |= {one.vessel: one for one in again}
    return tuple(by_vessel[one.vessel] for one in requests), near.whole


@dataclass(frozen=True)
class _Near:
    """Forecasts that are kept, the whole fit they rest on, and the vessels in batches that differ from theirs now."""

    key: str
    whole: str
    changed: set[str]


def _nearest(farm: Farm, base: str, batches: dict[str, list[ForecastRequest]]) -> _Near | None:
    """The kept forecasts from which the fewest vessels differ, of those whose whole fit is near enough."""
    now = {name: _digest(some) for name, some in batches.items()}

    def differ(then: dict[str, str]) -> set[str]:
        return {name for name in now if now[name] != then.get(name)}

    def vessels(names: set[str]) -> set[str]:
        return {one.vessel for name in names for one in batches[name]}

    with farm.reading() as connection:
        columns = select(forecasts.c.key, forecasts.c.whole, forecasts.c.batches).where(forecasts.c.base == base)
        kept = {
            row.key: (row.whole, loads(row.batches)) for row in connection.execute(columns.order_by(forecasts.c.key))
        }
    most = _MOST_CHANGED * sum(map(len, batches.values()))
    found = []
    for key, (whole, then) in kept.items():
        first = kept[whole][1] if whole in kept else {}
        since_whole = differ(first)
        fitted_again = {name for name in then if then[name] != first.get(name)}
        # A batch that is as it was at the whole fit keeps that fit's forecasts.
        if first.keys() <= now.keys() and fitted_again <= since_whole and len(vessels(since_whole)) <= most:
            found.append(_Near(key, whole, vessels(differ(then))))
    return min(found, key=lambda one: len(one.changed), default=None)
