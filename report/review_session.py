"""State behind the review page: the farm's open items, refreshed when its records change, and verdicts given."""

from collections.abc import Mapping, Sequence, Set
from dataclasses import replace
from threading import RLock
from typing import get_args

from farm.outlook import Outlook, VesselReadings, bring_up_to_date, readings_of
from farm.records import list_verdicts, list_vessels, records_mark, undo_verdict
from farm.records.models import Verdict
from farm.review import ReviewItem, give_verdict, review_items
from farm.store import Farm
from report.review_html import ReviewPage, gather_review

#: Longest note and name that are stored.
_MAX_LENGTH = {"note": 2000, "by": 80}
#: Anchor at which the page opens after a verdict: the next item.
_NEXT = "first"


class ReviewSession:
    """One farm's review, safe to use from several request threads."""

    def __init__(self, farm: Farm) -> None:
        self._farm = farm
        self._lock = RLock()
        self._mark = ""
        self._outlooks: tuple[Outlook, ...] = ()
        self._readings: dict[str, VesselReadings] = {}
        self._by = ""
        self._told = ""

    def page(self, token: str) -> ReviewPage:
        """The current page; the message about the last action is shown once."""
        with self._lock:
            outlooks = self._current_outlooks()
            told, self._told = self._told, ""
            items = self._review(outlooks)
            readings = self._read({one.vessel for one in items})
            verdicts = list_verdicts(self._farm)
            return gather_review(self._farm, outlooks, items, readings, verdicts, token=token, by=self._by, told=told)

    def give(self, form: Mapping[str, str]) -> str:
        """Store the verdict of a form (vessel, suspect, verdict, note, by, quarantine); returns the anchor to go to.

        Raises ReviewError or ValueError.
        """
        verdict = next((one for one in get_args(Verdict) if one == form.get("verdict")), None)
        if verdict is None:
            raise ValueError("no such verdict")
        vessel, by, note = form.get("vessel", ""), _text(form, "by"), _text(form, "note")
        with self._lock:
            given = give_verdict(
                self._farm,
                self._review(self._current_outlooks(), everything=True),
                vessel,
                verdict,
                subject=form.get("suspect", "") or "?",
                by=by,
                note=note,
                quarantine=form.get("quarantine") == "yes",
            )
            self._by = by
            summary = ", ".join(f"{one.vessel}: {one.subject} {one.verdict}" for one in given)
            return self.tell(f"{summary}{f' by {by}' if by else ''}.")

    def undo(self, form: Mapping[str, str]) -> str:
        """Take back the verdict of a form (vessel, id); returns the anchor to go to.

        Raises ReviewError or ValueError.
        """
        with self._lock:
            by = _text(form, "by") or self._by
            back = undo_verdict(self._farm, form.get("vessel", ""), verdict_id=int(form.get("id", "")), by=by)
            summary = ", ".join(f"{one.subject} {one.verdict}" for one in back)
            return self.tell(f"Taken back: {back[0].vessel}, {summary}.")

    def tell(self, text: str) -> str:
        """Show a message on the next page; returns the anchor to go to."""
        with self._lock:
            self._told = text
            return _NEXT

    def _review(self, outlooks: Sequence[Outlook], *, everything: bool = False) -> list[ReviewItem]:
        readings = self._read({one.vessel.id for one in outlooks if not one.is_calm})
        return review_items(self._farm, outlooks, readings=readings, everything=everything)

    def _read(self, ids: Set[str]) -> Mapping[str, VesselReadings]:
        """Readings of at least these vessels, by id; refreshed after new photos or events."""
        if missing := ids - self._readings.keys():
            self._readings.update(readings_of(self._farm, missing))
        return self._readings

    def _current_outlooks(self) -> Sequence[Outlook]:
        """Outlooks; forecasts are updated only if photos or events were added, states of vessels always."""
        mark = records_mark(self._farm)
        if mark != self._mark:
            self._outlooks = tuple(bring_up_to_date(self._farm))
            self._readings.clear()
            self._mark = records_mark(self._farm)
        vessels = {one.id: one for one in list_vessels(self._farm)}
        return [replace(one, vessel=vessels.get(one.vessel.id, one.vessel)) for one in self._outlooks]


def _text(form: Mapping[str, str], name: str) -> str:
    """A form field as one line of limited length."""
    return " ".join(form.get(name, "").split())[: _MAX_LENGTH[name]]
