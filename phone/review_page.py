"""The review page: what waits for a verdict, the newest verdicts, and what a verdict does."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

from farm.outlook import VesselReadings
from farm.records import list_verdicts, list_vessels, made_from
from farm.records.models import Review, Verdict, means_contamination
from farm.review import give_verdict
from farm.store import Farm, on_farm_clock
from phone.farm_state import FarmState, Shown
from phone.review_cards import ReviewCard, review_card, verdict_words
from phone.ticks import TickError, Told
from phone.words import Words
from report import CAUTIONS

#: Cards with rows of their own: with the first one open they fit four screens. The others are one row, which opens.
_MOST_CARDS = 12
#: Number of newest verdicts that can be taken back from the page.
_MOST_GIVEN = 8
#: Longest note and name that are stored.
_LONGEST = {"note": 2000, "by": 80}


@dataclass(frozen=True)
class GivenVerdict:
    """A recent verdict. undo: fields of the form that takes it back."""

    text: str
    undo: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class ReviewPage:
    """What waits for a verdict, most urgent first, and the newest verdicts.

    cards: the first of them, each a row that opens; more: the others, which stand in one row; more_counts: how many of
    these there are of each urgency, in words.
    """

    as_of: str
    n_cards: int
    cards: tuple[ReviewCard, ...]
    more: tuple[ReviewCard, ...]
    more_counts: str
    given: tuple[GivenVerdict, ...]
    cautions: tuple[str, ...]


def review_page(farm: Farm, words: Words, shown: Shown, readings: Mapping[str, VesselReadings]) -> ReviewPage:
    """The facts of the page. readings: of the vessels of its items, by id."""
    cards = tuple(
        review_card(farm, words, item, shown.outlooks[item.vessel], readings[item.vessel].looked_at)
        for item in shown.review
    )
    more = cards[_MOST_CARDS:]
    counts = Counter(one.urgency for one in more)
    standing = [one for one in list_verdicts(farm) if one.undone_at is None]
    return ReviewPage(
        as_of=words.time(on_farm_clock(farm.now, farm.zone)),
        n_cards=len(cards),
        cards=cards[:_MOST_CARDS],
        more=more,
        more_counts=", ".join(f"{n} {urgency}" for urgency, n in counts.items()),
        given=tuple(_given(farm, words, one) for one in reversed(standing[-_MOST_GIVEN:])),
        cautions=caution_words(words),
    )


def caution_words(words: Words) -> tuple[str, ...]:
    """The safety cautions; English ones come from the same place as everywhere else."""
    if words.language == "en":
        return CAUTIONS
    return tuple(words(f"caution.{number}") for number in range(1, len(CAUTIONS) + 1))


def judge(state: FarmState, words: Words, form: Mapping[str, str]) -> Told:
    """Store the verdict of a form (vessel, subject, verdict, note, by, quarantine). Raises SpawnrunError."""
    verdict: Verdict | None = next((one for one in get_args(Verdict) if one == form.get("verdict")), None)
    if verdict is None:
        raise TickError(words("tick.unknown"))
    given = give_verdict(
        state.farm,
        state.everything_to_judge(),
        form.get("vessel", ""),
        verdict,
        subject=form.get("subject", "") or "?",
        by=field_text(form, "by"),
        note=field_text(form, "note"),
        quarantine=form.get("quarantine") == "yes",
    )
    what = ", ".join(words.known("subject", one.subject) for one in given)
    text = words("told.verdict", vessel=given[0].vessel, subject=what, verdict=words.known("verdict", verdict))
    if verdict == "confirmed" and any(means_contamination(one.subject) for one in given):
        made = [one for one in made_from(list_vessels(state.farm), {given[0].vessel}) if one.state == "running"]
        told = (words("mark.closed"), words("mark.mould"), words("told.made", len(made)) if made else "")
        text = " ".join(filter(None, (text, *told)))
    newest = max((one.id or 0 for one in list_verdicts(state.farm) if one.vessel == given[0].vessel), default=0)
    return Told(text, (("vessels", given[0].vessel), ("what", "verdict"), ("id", str(newest))))


def field_text(form: Mapping[str, str], name: str) -> str:
    """A form field as one line of limited length."""
    return " ".join(form.get(name, "").split())[: _LONGEST[name]]


def _given(farm: Farm, words: Words, one: Review) -> GivenVerdict:
    text = words("review.given", vessel=one.vessel, subject=words.known("subject", one.subject))
    undo = (("vessels", one.vessel), ("what", "verdict"), ("id", str(one.id or 0)))
    return GivenVerdict(f"{text} {verdict_words(farm, words, one)}", undo)
