"""At which stage of fruiting a vessel is."""

from collections.abc import Collection
from datetime import datetime

from farm.fruiting.harvests import list_harvests
from farm.records import list_events
from farm.store import Farm

#: Events that show that a vessel fruits.
_FRUITING_EVENTS = ("opened", "pins")


def fruiting_since(farm: Farm, ids: Collection[str]) -> dict[str, datetime]:
    """Those of some vessels that fruit, and since when: the first of opened to fruit, pins seen and harvested."""
    moments = [(one.at, one.vessel) for one in list_events(farm, ids) if one.event in _FRUITING_EVENTS]
    moments += [(one.at, one.vessel) for one in list_harvests(farm, ids)]
    since: dict[str, datetime] = {}
    for at, vessel in sorted(moments):
        if at <= farm.now:
            since.setdefault(vessel, at)
    return since
