"""How many vessels become ready on each day of the next weeks, by what they are for."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from calibration import Use
from farm.lists.today import TodayItem
from farm.store import Farm, on_farm_clock

_WEEK = 7


@dataclass(frozen=True)
class DayAhead:
    """A day of the farm's clock. ready: vessels that become ready on it, by use; n_to_pick: that are to be picked.

    is_past: before today.
    """

    day: date
    ready: dict[Use, int]
    n_to_pick: int
    is_past: bool
    is_today: bool

    @property
    def n_ready(self) -> int:
        """How many vessels become ready on it."""
        return sum(self.ready.values())


def weeks_ahead(farm: Farm, items: Sequence[TodayItem], n_weeks: int = 4) -> list[list[DayAhead]]:
    """Weeks from Monday to Sunday, the first with today in it; what is ready or due already counts for today.

    What must be looked at first is not counted. What fruits counts for the day on which it is to be picked next.
    """
    today = on_farm_clock(farm.now, farm.zone).date()
    counted: dict[date, Counter[Use]] = {}
    to_pick: Counter[date] = Counter()
    for item in items:
        if item.day is None or item.section == "look":
            continue
        day = max(today, on_farm_clock(item.day, farm.zone).date())
        if item.fruiting is None:
            counted.setdefault(day, Counter())[item.used_for] += 1
        elif item.fruiting.stage not in ("late", "past"):
            to_pick[day] += 1
    monday = today - timedelta(days=today.weekday())
    days = [monday + timedelta(days=n) for n in range(_WEEK * n_weeks)]
    ahead = [
        DayAhead(day, dict(counted.get(day, ())), to_pick[day], is_past=day < today, is_today=day == today)
        for day in days
    ]
    return [ahead[start : start + _WEEK] for start in range(0, len(ahead), _WEEK)]
