"""What needs a person's eyes: suspects and stalls, most urgent first, each with what people have said of it."""

from collections.abc import Iterable, Sequence
from datetime import timedelta

from calibration import suspect_scores
from farm.clock import day_words, now, on_farm_clock
from farm.outlook import Outlook
from farm.places import same_place, where_on_face
from farm.records import DROP, STALL, Review
from farm.review_item import ReviewItem, Standing, Urgency
from farm.store import Farm
from farm.suspects import SuspectHistory, follow_suspects
from farm.verdicts import list_verdicts

#: A dismissed stall or drop comes back after so many days.
_STALL_RETURNS_DAYS = 7
_HIGH_SCORE = 0.7
_DROP_WHY = "percent fell to {percent:.0f}: if it was shaken, note it with `spawnrun event`; else look at the photo"
_ORDER: dict[Urgency, int] = {"high": 0, "middle": 1, "low": 2}


def review_items(farm: Farm, outlooks: Sequence[Outlook], *, everything: bool = False) -> list[ReviewItem]:
    """What waits for a verdict on running vessels, most urgent first.

    everything: also what is not flagged (score, own colour), was dismissed or confirmed, or is on a vessel taken out.
    """
    verdicts = [one for one in list_verdicts(farm) if one.undone_at is None]
    items: list[ReviewItem] = []
    for outlook in outlooks:
        mine = [one for one in verdicts if one.vessel == outlook.vessel.id]
        suspects = [
            _suspect(farm, outlook, one, mine)
            for one in follow_suspects(outlook.vessel, outlook.readings, outlook.shaken_at, farm.own_species)
        ]
        if outlook.vessel.state == "running":
            flagged = any(one.standing == "open" for one in suspects)
            faults = _growth_faults(outlook, mine)
            # A mould that spreads takes percent away; that is no second thing to ask about.
            items += [fault for fault in faults if not (flagged and fault.subject == DROP)]
        items += [one for one in suspects if everything or one.standing == "open"]
    return sorted(items, key=_rank)


def _rank(item: ReviewItem) -> tuple[bool, int, float, float, str]:
    return item.standing != "open", _ORDER[item.urgency], -item.score, -(item.area_cm2 or 0.0), item.vessel


def _suspect(farm: Farm, outlook: Outlook, history: SuspectHistory, verdicts: Sequence[Review]) -> ReviewItem:
    last, settings = history.last, farm.settings
    verdict = _verdict_on(history, verdicts)
    growth = history.growth_cm2_per_day
    standing = _standing(farm, outlook, history, verdict)
    growing = growth is not None and growth > 0
    return ReviewItem(
        vessel=outlook.vessel.id,
        subject=history.colour,
        urgency="high" if history.score >= max(_HIGH_SCORE, settings.suspect_score) or growing else "middle",
        why=_why(history, growth) + (_why_again(farm, verdict) if standing == "open" else ""),
        where=where_on_face(last.main.box, last.reading.face_box),
        since=history.sightings[0].reading.taken_at,
        watched=verdict is not None and verdict.verdict == "watched",
        score=history.score,
        area_cm2=last.area_cm2,
        growth_cm2_per_day=growth,
        mark=last.main,
        reading=last.reading,
        key=_key(history),
        standing=standing,
        history=history,
        verdict=verdict,
        worth=_worth(history.score),
    )


def _standing(farm: Farm, outlook: Outlook, history: SuspectHistory, verdict: Review | None) -> Standing:
    settings, runs = farm.settings, outlook.vessel.state == "running"
    said = "" if verdict is None else verdict.verdict
    if said == "confirmed":
        # A vessel put back by hand stands among the ones to look at, never among the ready ones.
        return "open" if runs else "confirmed"
    if said == "dismissed" and verdict is not None:
        before = verdict.area_cm2 or 0.0
        returns = max(before * settings.returns_when_times, before + settings.returns_when_cm2)
        if history.last.area_cm2 < returns:
            return "dismissed"
    if not runs:
        return "taken out"
    if history.own_colour:
        return "own colour"
    return "open" if history.score >= settings.suspect_score or said == "watched" else "below"


def _verdict_on(history: SuspectHistory, verdicts: Iterable[Review]) -> Review | None:
    """The newest verdict given on this suspect: on its place, in a colour it had."""
    colours = {mark.colour for sighting in history.sightings for mark in sighting.marks}
    places = [sighting.place for sighting in history.sightings if sighting.place is not None]
    newest = None
    for one in verdicts:
        if one.subject not in colours:
            continue
        comparable = [place for place in places if one.place is not None and place.anchor == one.place.anchor]
        here = any(one.place is not None and same_place(place, one.place) for place in comparable)
        # Where places cannot be compared (older records, a label found only now) the colour decides.
        if here or not comparable:
            newest = one
    return newest


def _key(history: SuspectHistory) -> str:
    place = history.sightings[0].place
    return history.colour if place is None else "{}@{:.0f},{:.0f}".format(history.colour, *place.middle_mm)


def _worth(score: float) -> str:
    band = suspect_scores().band_of(score)
    if band is None:
        return ""
    return f"in the benchmark {band.contaminated} of {band.flags} flags of such a score were contamination"


def _why(history: SuspectHistory, growth: float | None) -> str:
    grows = f", growing {growth:.1f} cm2 a day" if growth is not None and growth > 0.05 else ""
    said = [one for one in history.reasons if not (grows and one.startswith("it grows"))]
    where = f"; {'; '.join(said)}" if said else ""
    own = "; a colour its species has of its own" if history.own_colour else ""
    return f"{history.colour} patch of {history.last.area_cm2:.1f} cm2{grows}{where}{own}"


def _why_again(farm: Farm, verdict: Review | None) -> str:
    """Why something stands open that a person has spoken on, in words; "" where nobody has settled it."""
    if verdict is None or verdict.verdict == "watched":
        return ""
    day = day_words(on_farm_clock(verdict.at, farm.zone))
    if verdict.verdict == "dismissed":
        return f"; grown since it was dismissed on {day}"
    return f"; confirmed on {day}, and yet the vessel is in the lists: take the verdict back, or the vessel out"


def _growth_faults(outlook: Outlook, verdicts: Sequence[Review]) -> list[ReviewItem]:
    status = outlook.forecast.status
    last = outlook.last
    if status not in ("stalled", "ask") or last is None:
        return []
    subject = STALL if status == "stalled" else DROP
    verdict = next((one for one in reversed(verdicts) if one.subject == subject), None)
    settled = verdict if verdict is not None and verdict.verdict != "watched" else None
    if settled is not None and settled.at + timedelta(days=_STALL_RETURNS_DAYS) > now():
        return []
    at_percent = f"{outlook.forecast.percent_now or 0.0:.0f} %"
    why = f"growth stopped near {at_percent}" if subject == STALL else _DROP_WHY.format(percent=last.percent)
    watched = verdict is not None and verdict.verdict == "watched"
    urgency: Urgency = "middle" if subject == STALL else "low"
    return [
        ReviewItem(
            outlook.vessel.id,
            subject,
            urgency,
            why,
            "",
            last.taken_at,
            watched,
            reading=last,
            key=subject,
            verdict=verdict,
        )
    ]
