"""The marks on today's list: short words for what was seen of a vessel, each with what to do about it."""

from collections.abc import Iterator, Sequence
from datetime import datetime, tzinfo
from typing import Literal

from farm.fruiting import FruitingLife
from farm.outlook import Outlook
from farm.records.models import BEHIND, DROP, MISFIT, SIGN_SUBJECTS, STALL
from farm.review import ReviewItem
from farm.store import day_words, days_between, on_farm_clock

#: A newest photo older than this is mentioned on the list, days.
STALE_PHOTO_DAYS = 4.0
#: What was ready in a newest photo older than this is photographed before it is called ready, days: mould may have come
#: since (common practice, no source).
OUTDATED_PHOTO_DAYS = 14.0

TAKE_A_PHOTO = "take a photo"
_REST = "let it rest"
_LOOK_WORDS = {
    STALL: "growth has stopped: keep it or throw it out",
    DROP: "percent fell: note the shake, or look at its photo",
    MISFIT: "one photo does not fit the others: check it",
    SIGN_SUBJECTS["part_stalled"]: "a part has stopped growing: look at it",
    SIGN_SUBJECTS["wet_patch"]: "wet patch: confirm or dismiss it",
    SIGN_SUBJECTS["sharp_front"]: "growth ends at a sharp edge: look at it",
}


def review_mark(item: ReviewItem) -> str:
    """What something up for review asks for; a patch of a colour is to be looked at and judged."""
    colour = item.subject.replace("_", " ")
    words = _LOOK_WORDS.get(item.subject, f"{colour} patch: confirm or dismiss it")
    if item.subject == BEHIND:
        words = f"{item.why}: keep it or throw it out"
    return f"{words} (watched)" if item.watched else words


def source_mark(source: str) -> str:
    """What is asked for of a vessel that came from one that was confirmed as contaminated."""
    return f"{source}, which it came from, was contaminated: look closely"


#: Why a vessel is to be photographed: none was taken yet, and it may be due; it was shaken after the newest; it is due
#: by its forecast alone; the newest is old; any of these, and one was taken since but bore no percent. "" is no reason.
PhotoReason = Literal["", "none", "none_due", "shaken", "due", "old", "refused"]


def photo_reason(outlook: Outlook, moment: datetime) -> PhotoReason:
    """Why a vessel is to be photographed; "" where its newest photo with a percent is recent."""
    reason, refused = _reason_with_a_percent(outlook, moment), outlook.refused
    if refused is None or any(refused.taken_at < at <= moment for at in outlook.shaken_at):
        return reason
    return "refused" if reason else ""


def _reason_with_a_percent(outlook: Outlook, moment: datetime) -> PhotoReason:
    """The same as if there were only photos with a percent."""
    if outlook.last is None:
        median = outlook.ready.median
        return "none_due" if median is not None and median <= moment else "none"
    if any(outlook.last.taken_at < at <= moment for at in outlook.shaken_at):
        return "shaken"
    if outlook.is_only_forecast:
        return "due"
    return "old" if days_between(outlook.last.taken_at, moment) > STALE_PHOTO_DAYS else ""


def is_outdated(outlook: Outlook, moment: datetime) -> bool:
    """Whether its newest photo is so old that it does not show how the vessel is now."""
    return outlook.last is not None and days_between(outlook.last.taken_at, moment) > OUTDATED_PHOTO_DAYS


def photo_mark(outlook: Outlook, moment: datetime) -> str:
    """That a vessel is to be photographed, and why, in words; "" where its newest photo is recent."""
    age = "" if outlook.last is None else _days(days_between(outlook.last.taken_at, moment))
    why_none = "" if outlook.refused is None else outlook.refused.why_unusable
    words: dict[PhotoReason, str] = {
        "": "",
        "none_due": f"{TAKE_A_PHOTO}: due by now, and none was taken",
        "none": f"{TAKE_A_PHOTO}: it has none yet",
        "shaken": f"{TAKE_A_PHOTO}: it was shaken after the last",
        "due": f"{TAKE_A_PHOTO}: due by now, the last is {age} old",
        "old": f"{TAKE_A_PHOTO}: the last is {age} old",
        "refused": f"{TAKE_A_PHOTO}: the newest gave no percent, {why_none}",
    }
    return words[photo_reason(outlook, moment)]


def growth_marks(outlook: Outlook, review: Sequence[ReviewItem]) -> Iterator[str]:
    """What its forecast says that a grower must know. review: what is open on it, which says the rest."""
    if outlook.forecast.status == "colonised":
        yield f"colonised through: {_REST}"
    if outlook.forecast.days_behind is not None and all(one.subject != BEHIND for one in review):
        yield f"{_days(outlook.forecast.days_behind)} behind the rest of its batch"


def fruiting_mark(life: FruitingLife, zone: tzinfo | None) -> str:
    """How far a vessel is that fruits, and when it is to be picked."""

    def day(at: datetime | None) -> str:
        return "" if at is None else day_words(on_farm_clock(at, zone))

    flush = f"flush {life.next_flush}"
    last = max((one.last_at for one in life.flushes), default=None)
    if life.stage == "past":
        n_flushes = life.next_flush - 1
        several = f"{n_flushes} flush{'es' * (n_flushes != 1)}"
        return f"{several} picked, as is usual; the last on {day(last)}"
    if life.stage in ("due", "late"):
        return f"{flush} due since {day(life.due_at)}"
    said = {
        "pins": f"pins seen on {day(life.pins_at)}",
        "resting": f"rests; last picked on {day(last)}",
        "waiting": f"fruits since {day(life.since)}",
    }[life.stage]
    return f"{said}: {flush} about {day(life.due_at)}"


def _days(number: float) -> str:
    return f"{number:.0f} day{'s' * (round(number) != 1)}"
