"""The farm as the pages see it: the newest outlooks, today's list and what is up for review, kept while they hold."""

import time
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime
from threading import Event as Signal
from threading import RLock

from farm.lists import TodayItem, sort_into_sections
from farm.outlook import Outlook, Seen, VesselReadings, readings_of, what_is_seen
from farm.records import list_vessels, records_mark
from farm.review import ReviewItem, review_items
from farm.store import Farm

#: Another process may change what the mark does not show (a shelf, a setting): so long the list may lag, seconds.
_HOLDS_SECONDS = 10.0
#: How long the first page waits for the first outlooks, seconds.
_FIRST_SECONDS = 120.0


@dataclass(frozen=True)
class Shown:
    """What the pages show, from one moment. items: today's list; review: what is open.

    is_pending: none was made yet.
    """

    at: datetime
    outlooks: Mapping[str, Outlook]
    items: tuple[TodayItem, ...]
    review: tuple[ReviewItem, ...]
    is_pending: bool = False


class FarmState:
    """One farm, safe to use from several request threads. ask_refresh: asks for new outlooks, and returns at once."""

    def __init__(self, farm: Farm, ask_refresh: Callable[[], None]) -> None:
        self.farm = farm
        self._ask_refresh = ask_refresh
        self._lock = RLock()
        self._has_outlooks = Signal()
        self._outlooks: tuple[Outlook, ...] = ()
        self._of_mark = ""
        self._readings: dict[str, VesselReadings] = {}
        self._shown: Shown | None = None
        self._shown_until = 0.0

    def take_outlooks(self, mark: str, outlooks: Sequence[Outlook]) -> None:
        """New outlooks, from the measuring process. mark: of the records that they are of."""
        with self._lock:
            self._outlooks = tuple(outlooks)
            self._of_mark = mark
            self._readings.clear()
            self.forget()
        self._has_outlooks.set()

    def forget(self) -> None:
        """Something was changed: the next page is made anew."""
        with self._lock:
            self._shown = None

    def shown(self) -> Shown:
        """The list and the review as they are now; forecasts may be some seconds older than the newest records."""
        self._has_outlooks.wait(timeout=_FIRST_SECONDS)
        with self._lock:
            if self._shown is None or time.monotonic() > self._shown_until:
                self._look_for_changes()
                self._shown = self._made()
                self._shown_until = time.monotonic() + _HOLDS_SECONDS
            return self._shown

    def everything_to_judge(self) -> list[ReviewItem]:
        """What is up for review, with what was judged or is on vessels taken out."""
        with self._lock:
            return self._review(self._with_vessels(), everything=True)

    def readings(self, ids: Set[str]) -> Mapping[str, VesselReadings]:
        """Readings of at least these vessels, by id."""
        with self._lock:
            if missing := ids - self._readings.keys():
                self._readings.update(readings_of(self.farm, missing))
            return self._readings

    def _look_for_changes(self) -> None:
        mark = records_mark(self.farm)
        if mark != self._of_mark:
            self._of_mark = mark
            self._readings.clear()
            self._ask_refresh()

    def _made(self) -> Shown:
        outlooks = self._with_vessels()
        review = self._review(outlooks)
        items = sort_into_sections(self.farm, outlooks, review)
        by_id = {one.vessel.id: one for one in outlooks}
        return Shown(self.farm.now, by_id, tuple(items), tuple(review), is_pending=not self._has_outlooks.is_set())

    def _with_vessels(self) -> list[Outlook]:
        """The outlooks with the vessels as they are now: closed, moved, taken out since."""
        vessels = {one.id: one for one in list_vessels(self.farm)}
        return [replace(one, vessel=vessels[one.vessel.id]) for one in self._outlooks if one.vessel.id in vessels]

    def _review(self, outlooks: Sequence[Outlook], *, everything: bool = False) -> list[ReviewItem]:
        """What is up for review by the newest readings, which the page shows beside it, of vessels with suspects."""
        readings = self.readings({one.vessel.id for one in outlooks if not one.seen.is_calm})
        newest = [
            one if one.seen.is_calm else replace(one, seen=_seen(one, readings[one.vessel.id])) for one in outlooks
        ]
        return review_items(self.farm, newest, everything=everything)


def _seen(outlook: Outlook, readings: VesselReadings) -> Seen:
    return what_is_seen(outlook.vessel, readings.faces, outlook.shaken_at, readings.without_percent)
