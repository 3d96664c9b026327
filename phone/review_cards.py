"""What is up for review, one by one: the spot over days beside the whole face, facts, and what each button will do."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from calibration import species_name
from farm.outlook import Outlook
from farm.pictures import SpotView, lacks_picture, spot_views
from farm.records import face_box_of
from farm.records.models import MISFIT, KeptReading, Review, Vessel, means_contamination
from farm.review import ReviewItem
from farm.store import Farm, on_farm_clock
from phone.vessel_rows import newest_picture
from phone.words import Words
from report import colour_words


@dataclass(frozen=True)
class SpotPicture:
    """The spot on one day. source: address of the crop; says: its alternative text."""

    source: str
    day: str
    size: str
    says: str


@dataclass(frozen=True)
class VerdictButton:
    """A button: the verdict, the key at a desk, and what it will do."""

    verdict: str
    key: str
    says: str


@dataclass(frozen=True)
class ReviewCard:
    """One item to judge.

    small, brief: what its row shows while it is folded: the newest picture ("" without one), and where it stands and
    how large it is. whole: address of the whole face, ringed if has_ring; "" without a face. behind: numbers.
    """

    anchor: str
    small: str
    brief: str
    vessel: str
    key: str
    heading: str
    urgency: str
    watched: bool
    facts: tuple[tuple[str, str], ...]
    behind: str
    meaning: str
    spots: tuple[SpotPicture, ...]
    whole: str
    has_ring: bool
    whole_says: str
    may_quarantine: bool
    buttons: tuple[VerdictButton, ...]


def review_card(
    farm: Farm, words: Words, item: ReviewItem, outlook: Outlook, faces: Sequence[KeptReading]
) -> ReviewCard:
    """One item. faces: the vessel's readings, oldest first."""
    views = spot_views(farm, item, faces)
    seen = next((view for view in reversed(views) if view.area_cm2 is not None), None)
    is_suspect, vessel = item.suspect is not None, outlook.vessel
    spots = tuple(_spot(farm, words, item, view) for view in views)
    meaning = colour_words(item.subject) if is_suspect and words.language == "en" else ""
    return ReviewCard(
        anchor=anchor_of(item),
        small=spots[-1].source if spots else newest_picture(outlook),
        brief=_brief(farm, words, item, vessel),
        vessel=item.vessel,
        key=item.key,
        heading=words.known("subject", item.subject),
        urgency=words(f"urgency.{item.urgency}"),
        watched=item.watched,
        facts=tuple(_facts(farm, words, item, vessel)),
        behind=_behind(words, item),
        meaning=meaning or (words(f"meaning.{item.subject}") if words.has(f"meaning.{item.subject}") else ""),
        spots=spots,
        whole=_face_of(item, faces) if seen is None else _address("ring", seen, seen.box),
        has_ring=seen is not None or item.sign is not None,
        whole_says=_whole_words(words, item, is_ringed=seen is not None),
        may_quarantine=means_contamination(item.subject),
        buttons=_buttons(words, item),
    )


def anchor_of(item: ReviewItem) -> str:
    """An HTML id of an item: it stays the same while it is open."""
    return "item-" + "-".join(f"{item.vessel} {item.key}".encode().hex(" ", 8).split())


def _buttons(words: Words, item: ReviewItem) -> tuple[VerdictButton, ...]:
    """Each says what will become of the vessel."""
    sort = "suspect" if means_contamination(item.subject) else "misfit" if item.subject == MISFIT else "growth"
    return tuple(
        VerdictButton(verdict, key, words(f"verdict_button.{sort}.{verdict}", vessel=item.vessel))
        for verdict, key in (("confirmed", "c"), ("dismissed", "d"), ("watched", "w"))
    )


def _facts(farm: Farm, words: Words, item: ReviewItem, vessel: Vessel) -> list[tuple[str, str]]:
    kind = ", ".join(filter(None, (words.known("kind", vessel.kind), species_name(vessel.species), vessel.substrate)))
    facts = [(words("review.vessel"), kind)]
    if item.suspect is None:
        facts.insert(0, (words("review.why"), words.known("why", item.subject)))
    if vessel.shelf:
        facts.append((words("review.shelf"), vessel.shelf))
    if item.where:
        facts.append((words("review.where"), ", ".join(words.known("where", one) for one in item.where.split(", "))))
    if item.history is not None:
        first, last = item.history.first, item.history.last
        for name, one in (("first_seen", first), ("last_seen", last)):
            moment = words.time(on_farm_clock(one.reading.taken_at, farm.zone))
            facts.append((words(f"review.{name}"), f"{moment}: {farm.units.area(one.area_cm2)}"))
        if item.growth_cm2_per_day and item.growth_cm2_per_day > 0:
            facts.append((words("review.grows"), words("review.a_day", area=farm.units.area(item.growth_cm2_per_day))))
    if item.verdict is not None:
        facts.append((words("review.earlier"), verdict_words(farm, words, item.verdict)))
    if lacks_picture(item):
        facts.append((words("review.picture"), words("review.measure_again")))
    return facts


def _brief(farm: Farm, words: Words, item: ReviewItem, vessel: Vessel) -> str:
    """Where it stands, how large it is, and how fast it grows."""
    area = "" if item.area_cm2 is None else farm.units.area(item.area_cm2)
    grows = item.growth_cm2_per_day or 0.0
    pace = words("review.brief_grows", area=farm.units.area(grows)) if grows > 0 else ""
    shelf = words("shelf", shelf=vessel.shelf) if vessel.shelf else ""
    return ", ".join(filter(None, (shelf, area, pace)))


def _behind(words: Words, item: ReviewItem) -> str:
    """The numbers behind a suspect; the farm has its reasons in English only."""
    if item.history is None:
        return ""
    reasons = (item.why, item.worth) if words.language == "en" else ()
    return "; ".join(filter(None, (words("review.score", score=f"{item.score:.2f}"), *reasons)))


def _spot(farm: Farm, words: Words, item: ReviewItem, view: SpotView) -> SpotPicture:
    day = words.time(on_farm_clock(view.reading.taken_at, farm.zone))
    size = words("review.not_seen") if view.area_cm2 is None else farm.units.area(view.area_cm2)
    says = words("review.spot_says", vessel=item.vessel, day=day, size=size)
    return SpotPicture(_address("spot", view, view.window), day, size, says)


def _address(what: str, view: SpotView, box: tuple[int, int, int, int]) -> str:
    return f"/picture/{what}/{view.reading.photo_hash}-{view.reading.slot}/{','.join(map(str, box))}.jpg"


def _whole_words(words: Words, item: ReviewItem, *, is_ringed: bool) -> str:
    if is_ringed:
        return words("review.ringed_then")
    if item.sign is not None:
        return words("review.ringed_now")
    return words("review.that_face" if item.subject == MISFIT else "review.newest_face")


def _face_of(item: ReviewItem, faces: Sequence[KeptReading]) -> str:
    """Address of the item's face, or the newest one; a sign on it is ringed."""
    kept = item.reading if item.reading is not None and item.reading.has_face else None
    kept = kept or next((one for one in reversed(faces) if one.has_face), None)
    if kept is None:
        return ""
    box = (0.0, 0.0, 0.0, 0.0)
    if item.sign is not None and kept.frame is not None:
        box = face_box_of(item.sign.box, kept.frame.to_photo)
    return f"/picture/ring/{kept.key}/{','.join(str(max(0, round(edge))) for edge in box)}.jpg"


def verdict_words(farm: Farm, words: Words, one: Review) -> str:
    """A verdict with who gave it, when, and the note."""
    by = f" {words('review.by', name=one.by)}" if one.by else ""
    note = f": {one.note}" if one.note else ""
    return f"{words.known('verdict', one.verdict)}{by}, {_moment(farm, words, one.at)}{note}"


def _moment(farm: Farm, words: Words, moment: datetime) -> str:
    return words.time(on_farm_clock(moment, farm.zone))
