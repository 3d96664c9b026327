"""What is up for review: suspects and stalls, most urgent first, each with the verdicts on it."""

from collections.abc import Container, Iterable, Sequence
from datetime import datetime
from itertools import count

from calibration import suspect_scores
from farm.fruiting import fruiting_since
from farm.outlook import Outlook, SuspectHistory
from farm.records import list_verdicts, same_place, where_in_words
from farm.records.models import DROP, MISFIT, Review
from farm.review.growth_alerts import growth_alerts
from farm.review.item import ReviewItem, Standing, Urgency
from farm.store import Farm, Units, day_words, on_farm_clock

_HIGH_SCORE = 0.7
_ORDER: dict[Urgency, int] = {"high": 0, "middle": 1, "low": 2}


def review_items(farm: Farm, outlooks: Sequence[Outlook], *, everything: bool = False) -> list[ReviewItem]:
    """What waits for a verdict on running vessels, most urgent first; of what fruits only what may be mould.

    everything: also what is not flagged (score, own colour), was dismissed or confirmed, or is on a vessel taken out.
    """
    verdicts: dict[str, list[Review]] = {}
    for verdict in list_verdicts(farm):
        if verdict.undone_at is None:
            verdicts.setdefault(verdict.vessel, []).append(verdict)
    items: list[ReviewItem] = []
    asked = [one for one in outlooks if everything or one.vessel.state == "running"]
    fruits = fruiting_since(farm, {one.vessel.id for one in asked if one.vessel.used_for == "fruiting"})
    for outlook in asked:
        mine = verdicts.get(outlook.vessel.id, [])
        names = suspect_names(outlook.seen.suspects)
        suspects = [_suspect(farm, outlook, one, mine, names[id(one)]) for one in outlook.seen.suspects]
        if outlook.vessel.state == "running" and (everything or outlook.vessel.id not in fruits):
            flagged = any(one.standing == "open" for one in suspects)
            faults = growth_alerts(farm, outlook, mine, everything=everything)
            # A mould that spreads takes percent away; that is no second thing to ask about.
            items += [fault for fault in faults if not (flagged and fault.subject in (DROP, MISFIT))]
        items += [one for one in suspects if everything or one.standing == "open"]
    return sorted(items, key=_rank)


def vessels_to_look_at(items: Sequence[ReviewItem]) -> list[str]:
    """The vessels that are to be looked at before they are used, by id: no plan counts on them."""
    return sorted({item.vessel for item in items if item.holds_back})


def standing_verdict(items: Sequence[ReviewItem], subject: str) -> int | None:
    """The id of the verdict on the thing of this name; None where no such thing has one."""
    named = next((one for one in items if subject and subject in one.names and one.verdict), None)
    return None if named is None or named.verdict is None else named.verdict.id


def _rank(item: ReviewItem) -> tuple[bool, int, float, float, str]:
    return item.standing != "open", _ORDER[item.urgency], -item.score, -(item.area_cm2 or 0.0), item.vessel


def _suspect(
    farm: Farm, outlook: Outlook, history: SuspectHistory, verdicts: Sequence[Review], names: tuple[str, ...]
) -> ReviewItem:
    last, settings = history.last, farm.settings
    verdict = _verdict_on(history, verdicts)
    growth = history.growth_cm2_per_day
    is_own = history.is_own_colour(outlook.vessel.species, farm.own_species)
    standing = _standing(farm, outlook, history, verdict, is_own=is_own)
    growing = growth is not None and growth > 0
    return ReviewItem(
        vessel=outlook.vessel.id,
        subject=history.colour,
        urgency="high" if history.score >= max(_HIGH_SCORE, settings.suspect_score) or growing else "middle",
        why=_why(farm.units, history, growth, is_own=is_own)
        + (_why_again(farm, verdict) if standing == "open" else ""),
        where=where_in_words(last.largest.box, last.reading),
        since=history.first.reading.taken_at,
        watched=verdict is not None and verdict.verdict == "watched",
        score=history.score,
        area_cm2=last.area_cm2,
        growth_cm2_per_day=growth,
        suspect=last.largest,
        reading=last.reading,
        names=names,
        standing=standing,
        history=history,
        verdict=verdict,
        worth=_worth(history.score),
    )


def _standing(
    farm: Farm, outlook: Outlook, history: SuspectHistory, verdict: Review | None, *, is_own: bool
) -> Standing:
    settings, runs = farm.settings, outlook.vessel.state == "running"
    given = "" if verdict is None else verdict.verdict
    if given == "confirmed":
        # A vessel put back by hand stands among the ones to look at, never among the ready ones.
        return "open" if runs else "confirmed"
    if given == "dismissed" and verdict is not None:
        before = verdict.area_cm2 or 0.0
        returns = max(before * settings.returns_when_times, before + settings.returns_when_cm2)
        if history.last.area_cm2 < returns:
            return "dismissed"
    if not runs:
        return "taken out"
    if is_own:
        return "own colour"
    return "open" if history.score >= settings.suspect_score or given == "watched" else "below"


def _verdict_on(history: SuspectHistory, verdicts: Iterable[Review]) -> Review | None:
    """The newest verdict given on this suspect: on its place, in a colour it had."""
    places = [sighting.place for sighting in history.sightings if sighting.place is not None]
    newest = None
    for one in verdicts:
        if one.subject not in history.colours:
            continue
        comparable = [place for place in places if one.place is not None and place.anchor == one.place.anchor]
        here = any(one.place is not None and same_place(place, one.place) for place in comparable)
        # Where places cannot be compared (older records, a label found only now) the colour decides.
        if here or not comparable:
            newest = one
    return newest


def suspect_names(histories: Sequence[SuspectHistory]) -> dict[int, tuple[str, ...]]:
    """What each suspect of a vessel may be called, by id(history): colour and where it was first seen, in words.

    A second one of the same words is numbered, in the order in which they were first seen. A mould that turned from
    grey to green still answers to grey.
    """
    taken: set[str] = set()
    names: dict[int, tuple[str, ...]] = {}
    for history in sorted(histories, key=_first_seen):
        where = where_in_words(history.first.largest.box, history.first.reading)
        colours = dict.fromkeys([history.colour, *history.colours])
        mine = tuple(_free_name(f"{colour}, {where}" if where else colour, taken) for colour in colours)
        taken.update(mine)
        names[id(history)] = mine
    return names


def _first_seen(history: SuspectHistory) -> tuple[datetime, float, tuple[int, ...]]:
    first = history.first
    return first.reading.taken_at, -first.area_cm2, first.largest.box


def _free_name(wanted: str, taken: Container[str]) -> str:
    return next(name for number in count(1) if (name := wanted if number == 1 else f"{wanted} {number}") not in taken)


def _worth(score: float) -> str:
    band = suspect_scores().band_of(score)
    if band is None:
        return ""
    return f"in the benchmark {band.contaminated} of {band.flags} flags of such a score were contamination"


def _why(units: Units, history: SuspectHistory, growth: float | None, *, is_own: bool) -> str:
    grows = f", growing {units.area(growth)} a day" if growth is not None and growth > 0.05 else ""
    reasons = [one for one in history.reasons if not (grows and one.startswith("it grows"))]
    where = f"; {'; '.join(reasons)}" if reasons else ""
    own = "; a colour its species has of its own" if is_own else ""
    return f"{history.colour} patch of {units.area(history.last.area_cm2)}{grows}{where}{own}"


def _why_again(farm: Farm, verdict: Review | None) -> str:
    """Why something is open although it has a verdict, in words; "" without a confirmed or dismissed one."""
    if verdict is None or verdict.verdict == "watched":
        return ""
    day = day_words(on_farm_clock(verdict.at, farm.zone))
    if verdict.verdict == "dismissed":
        return f"; grown since it was dismissed on {day}"
    return f"; confirmed on {day}, and yet the vessel is in the lists: take the verdict back, or the vessel out"
