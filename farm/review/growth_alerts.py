"""Up for review beside suspects: growth that stopped or fell, readings that do not fit, signs on the face."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from farm.outlook import Misfit, Outlook
from farm.records import explain_flags, flag_words, where_in_words
from farm.records.models import BEHIND, DROP, MISFIT, SIGN_SUBJECTS, STALL, KeptReading, Review, Sign
from farm.review.item import ReviewItem, Standing, Urgency
from farm.store import Farm, after_days, day_words, iso, now, on_farm_clock

#: What was dismissed or confirmed comes back after so many days if it still is so.
_RETURNS_DAYS = 7
_MISFIT_WHY = (
    "{percent:.0f} % on {day} does not fit its curve (about {expected:.0f} %), and the forecast all but ignores it;"
    " check its date and the day of inoculation, confirm it as wrong to leave it out, or dismiss"
)


def growth_alerts(
    farm: Farm, outlook: Outlook, verdicts: Sequence[Review], *, everything: bool = False
) -> list[ReviewItem]:
    """Alerts on a running vessel. verdicts: on it. everything: also those confirmed or dismissed lately."""
    found = [
        *_stall(outlook, verdicts),
        *_behind(outlook, verdicts),
        *_drop(farm, outlook, verdicts),
        *_misfits(farm, outlook, verdicts),
        *_signs(outlook, verdicts),
    ]
    return [one for one in found if everything or one.standing == "open"]


def drop_in_words(farm: Farm, outlook: Outlook) -> str:
    """From what to what a vessel's percent fell and when, and what to do about it; "" where it did not fall."""
    drop, start = outlook.forecast.drop, outlook.vessel.inoculated_at
    if drop is None:
        return ""
    before, after, shake = (after_days(start, day) for day in (drop.before_day, drop.after_day, drop.shake_day))
    days = [day_words(None if one is None else on_farm_clock(one, farm.zone)) for one in (before, after)]
    when = f"on {days[0]}" if days[0] == days[1] else f"between {days[0]} and {days[1]}"
    command = f"spawnrun event {outlook.vessel.id} shaken --at {iso(shake, farm.zone)}"
    return (
        f"percent fell from {drop.before_percent:.0f} to {drop.after_percent:.0f} {when}: if it was shaken, note it"
        f" with `{command}` (correct the time if you know it); else look at the photo"
    )


def _drop(farm: Farm, outlook: Outlook, verdicts: Sequence[Review]) -> Iterator[ReviewItem]:
    drop, last = outlook.forecast.drop, outlook.last
    if drop is not None and last is not None:
        fell = after_days(outlook.vessel.inoculated_at, drop.after_day)
        yield _item(outlook, DROP, "low", drop_in_words(farm, outlook), last, _newest(verdicts, DROP), since=fell)


def _stall(outlook: Outlook, verdicts: Sequence[Review]) -> Iterator[ReviewItem]:
    if outlook.last is not None and outlook.forecast.status == "stalled":
        why = f"growth stopped near {outlook.forecast.percent_now or 0.0:.0f} %"
        yield _item(outlook, STALL, "middle", why, outlook.last, _newest(verdicts, STALL))


def _behind(outlook: Outlook, verdicts: Sequence[Review]) -> Iterator[ReviewItem]:
    """A vessel far behind its batch, as long as it is not ready."""
    days = outlook.forecast.days_behind
    if days is not None and outlook.last is not None and outlook.forecast.status == "colonising":
        why = f"{days:.0f} day{'s' * (round(days) != 1)} behind its batch"
        yield _item(outlook, BEHIND, "low", why, outlook.last, _newest(verdicts, BEHIND))


def _misfits(farm: Farm, outlook: Outlook, verdicts: Sequence[Review]) -> Iterator[ReviewItem]:
    if outlook.forecast.status == "dropped":
        return  # first it must be known whether it was shaken
    for number, misfit in enumerate(outlook.misfits, start=1):
        reading = misfit.face
        day = day_words(on_farm_clock(reading.taken_at, farm.zone))
        why = _MISFIT_WHY.format(percent=reading.percent, day=day, expected=misfit.expected_percent)
        verdict = _newest(verdicts, MISFIT, reading.key)
        name = MISFIT if len(outlook.misfits) == 1 else f"{MISFIT} {number}"
        holds_back = _is_newest(misfit, outlook)
        yield _item(outlook, MISFIT, "low", why, reading, verdict, name=name, returns=False, holds_back=holds_back)


def _is_newest(misfit: Misfit, outlook: Outlook) -> bool:
    """Whether a reading that does not fit is its vessel's newest: what is said of the vessel rests on older ones."""
    newest = None if outlook.last is None else outlook.misfit_of(outlook.last)
    return newest is not None and misfit.face.key == newest.face.key


def _signs(outlook: Outlook, verdicts: Sequence[Review]) -> Iterator[ReviewItem]:
    """Signs of the newest photo of each side."""
    for seen in outlook.seen.signs:
        name = seen.sign.name
        if name == "part_stalled" and outlook.forecast.status == "stalled":
            continue  # the whole vessel has stalled, which is an item of its own
        subject = SIGN_SUBJECTS.get(name, name.replace("_", " "))
        (why,) = explain_flags([name])
        yield _item(
            outlook,
            subject,
            "low",
            why,
            seen.reading,
            _newest(verdicts, subject),
            name=flag_words([name]),
            sign=seen.sign,
            where=where_in_words(seen.sign.box, seen.reading),
            since=seen.since,
        )


def _newest(verdicts: Sequence[Review], subject: str, reading: str | None = None) -> Review | None:
    matching = (one for one in reversed(verdicts) if one.subject == subject and reading in (None, one.reading))
    return next(matching, None)


def _item(
    outlook: Outlook,
    subject: str,
    urgency: Urgency,
    why: str,
    reading: KeptReading,
    verdict: Review | None,
    *,
    name: str = "",
    sign: Sign | None = None,
    where: str = "",
    since: datetime | None = None,
    returns: bool = True,
    holds_back: bool = True,
) -> ReviewItem:
    return ReviewItem(
        vessel=outlook.vessel.id,
        subject=subject,
        urgency=urgency,
        why=why,
        where=where,
        since=since or reading.taken_at,
        watched=verdict is not None and verdict.verdict == "watched",
        reading=reading,
        sign=sign,
        names=(name, subject) if sign is not None and name != subject else (name or subject,),
        standing=_standing(verdict, returns=returns),
        verdict=verdict,
        holds_back=holds_back,
    )


def _standing(verdict: Review | None, *, returns: bool) -> Standing:
    if verdict is None or verdict.verdict == "watched":
        return "open"
    if returns and verdict.at + timedelta(days=_RETURNS_DAYS) <= now():
        return "open"
    return "confirmed" if verdict.verdict == "confirmed" else "dismissed"
