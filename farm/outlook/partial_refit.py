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

from farm.outlook.kept_forecasts import kept_forecasts
from farm.store import Farm
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
) -> "tuple[tuple[Forecast, ...], dict[str, Forecast], str] | None":
    """The forecasts of a farm that differs little from one that was fitted as a whole.

    Those of the batches that differ from the whole fit, by vessel what else is known, and the key of the whole fit;
    None where there is no such fit. base: digest of all that enters a fit but the vessels.
    series: makes the series of some vessels, by id.
    """
    from growth.fit import LearnedPriors
    from growth.forecast import reforecast_batches

    near = _nearest(farm, base, batches_of(requests))
    if near is None:
        return None
    with farm.reading() as connection:
        taught = connection.scalar(select(forecasts.c.taught).where(forecasts.c.key == near.whole))
    known = kept_forecasts(farm, near.key)
    same = {vessel: one for vessel, one in known.items() if vessel not in near.changed}
    if taught is None or not {one.vessel for one in requests} <= same.keys() | near.changed:
        return None
    notes = {note for one in same.values() for note in one.notes}
    again = reforecast_batches(
        series(near.changed), LearnedPriors.from_bytes(taught), already_given=notes, settings=settings
    )
    if again is None:
        return None
    fitted_before = (one for vessel, one in same.items() if vessel in near.since_whole)
    return (*fitted_before, *again), same, near.whole


@dataclass(frozen=True)
class _Near:
    """Forecasts that are kept, and the whole fit they rest on.

    changed, since_whole: the vessels in batches that differ now from those of these forecasts, and of the whole fit.
    """

    key: str
    whole: str
    changed: set[str]
    since_whole: set[str]


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
        vessels_since = vessels(since_whole)
        fitted_again = {name for name in then if then[name] != first.get(name)}
        # A batch that is as it was at the whole fit keeps that fit's forecasts.
        if first.keys() <= now.keys() and fitted_again <= since_whole and len(vessels_since) <= most:
            found.append(_Near(key, whole, vessels(differ(then)), vessels_since))
    return min(found, key=lambda one: len(one.changed), default=None)
