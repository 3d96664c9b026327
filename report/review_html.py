"""The review page: items most urgent first, each spot beside the same spot on earlier days. Collects its facts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from calibration import species_name
from farm.outlook import Outlook, VesselReadings
from farm.pictures import SpotView, spot_views
from farm.records import face_box_of
from farm.records.models import MISFIT, KeptReading, Review, Vessel
from farm.review import ReviewItem
from farm.store import Farm, day_words, on_farm_clock
from report.cautions import CAUTIONS, colour_words
from report.templating import fill_template


@dataclass(frozen=True)
class SpotPicture:
    """The spot on one day. source: address of the crop; says: its alternative text."""

    source: str
    day: str
    size: str
    says: str


@dataclass(frozen=True)
class ReviewCard:
    """One item to judge. ringed: address of the whole face, with the spot ringed if has_ring; "" without a face.

    behind: the numbers behind it, for who asks why.
    """

    number: int
    vessel: str
    key: str
    heading: str
    urgency: str
    watched: bool
    facts: tuple[tuple[str, str], ...]
    behind: str
    meaning: str
    spots: tuple[SpotPicture, ...]
    ringed: str
    has_ring: bool
    ringed_says: str
    is_suspect: bool


@dataclass(frozen=True)
class GivenVerdict:
    """A recent verdict that can be taken back."""

    id: int
    vessel: str
    text: str


@dataclass(frozen=True)
class ReviewPage:
    """Everything that the template prints. by: who gave the last verdict; told: message about the last action."""

    farm: str
    as_of: str
    cards: tuple[ReviewCard, ...]
    given: tuple[GivenVerdict, ...]
    cautions: tuple[str, ...]
    token: str
    by: str
    told: str


#: Number of newest verdicts that can be taken back from the page.
_MAX_GIVEN = 8


def gather_review(
    farm: Farm,
    outlooks: Sequence[Outlook],
    items: Sequence[ReviewItem],
    readings: Mapping[str, VesselReadings],
    verdicts: Sequence[Review],
    *,
    token: str,
    by: str = "",
    told: str = "",
) -> ReviewPage:
    """Collect the facts of the page. readings: of the vessels of the items, by id."""
    by_vessel = {one.vessel.id: one for one in outlooks}
    cards = tuple(
        _card(farm, number, item, by_vessel[item.vessel].vessel, readings[item.vessel].faces)
        for number, item in enumerate(items, start=1)
    )
    standing = [one for one in verdicts if one.undone_at is None]
    return ReviewPage(
        farm=farm.folder.resolve().name,
        as_of=_moment(farm, farm.now),
        cards=cards,
        given=tuple(_given(farm, one) for one in reversed(standing[-_MAX_GIVEN:])),
        cautions=CAUTIONS,
        token=token,
        by=by,
        told=told,
    )


def review_html(page: ReviewPage) -> str:
    """The page as HTML; every text is escaped."""
    return fill_template("review.html", page=page)


def _card(farm: Farm, number: int, item: ReviewItem, vessel: Vessel, faces: Sequence[KeptReading]) -> ReviewCard:
    views = spot_views(farm, item, faces)
    shown = next((view for view in reversed(views) if view.area_cm2 is not None), None)
    is_suspect = item.suspect is not None
    what = f"{item.subject} patch" if is_suspect else item.key
    return ReviewCard(
        number=number,
        vessel=item.vessel,
        key=item.key,
        heading=f"{item.vessel}: {what}",
        urgency=item.urgency,
        watched=item.watched,
        facts=tuple(_facts(farm, item, vessel)),
        behind="; ".join(filter(None, (f"score {item.score:.2f} of 1", item.worth))) if item.history else "",
        meaning=colour_words(item.subject) if is_suspect else "",
        spots=tuple(_spot(farm, item, view) for view in views),
        ringed=_face_of(item, faces) if shown is None else _address("face", shown, shown.box),
        has_ring=shown is not None or item.sign is not None,
        ringed_says=_face_words(item, is_ringed=shown is not None),
        is_suspect=is_suspect,
    )


def _facts(farm: Farm, item: ReviewItem, vessel: Vessel) -> list[tuple[str, str]]:
    kind = ", ".join(filter(None, (vessel.kind, species_name(vessel.species), vessel.substrate)))
    facts = [("why", item.why), ("vessel", kind)]
    if item.where:
        facts.append(("where", item.where))
    if item.history is not None:
        first, last = item.history.photos[0], item.history.last
        facts.append(("first seen", f"{_moment(farm, first.reading.taken_at)}: {farm.units.area(first.area_cm2)}"))
        facts.append(("last seen", f"{_moment(farm, last.reading.taken_at)}: {farm.units.area(last.area_cm2)}"))
    if item.verdict is not None:
        facts.append(("earlier verdict", _verdict_words(farm, item.verdict)))
    return facts


def _spot(farm: Farm, item: ReviewItem, view: SpotView) -> SpotPicture:
    day = _moment(farm, view.reading.taken_at)
    size = "not seen" if view.area_cm2 is None else farm.units.area(view.area_cm2)
    says = f"The spot on {item.vessel}, {day}: {item.subject}, {size}"
    return SpotPicture(_address("spot", view, view.window), day, size, says)


def _address(what: str, view: SpotView, box: tuple[int, int, int, int]) -> str:
    return f"{what}/{view.reading.photo_hash}-{view.reading.slot}/{','.join(map(str, box))}.jpg"


def _face_words(item: ReviewItem, *, is_ringed: bool) -> str:
    if is_ringed:
        return "ringed: where it is, on the day it was last seen"
    if item.sign is not None:
        return "ringed: where it is, on the newest face"
    return "the face of that reading" if item.subject == MISFIT else "the newest face"


def _face_of(item: ReviewItem, faces: Sequence[KeptReading]) -> str:
    """Address of the item's face, or the newest one; a sign on it is ringed."""
    kept = item.reading if item.reading is not None and item.reading.has_face else None
    kept = kept or next((one for one in reversed(faces) if one.has_face), None)
    if kept is None:
        return ""
    box = (0.0, 0.0, 0.0, 0.0)
    if item.sign is not None and kept.frame is not None:
        box = face_box_of(item.sign.box, kept.frame.to_photo)
    return f"face/{kept.key}/{','.join(str(max(0, round(edge))) for edge in box)}.jpg"


def _given(farm: Farm, one: Review) -> GivenVerdict:
    return GivenVerdict(one.id or 0, one.vessel, f"{one.vessel}: {one.subject} {_verdict_words(farm, one)}")


def _verdict_words(farm: Farm, one: Review) -> str:
    by = f" by {one.by}" if one.by else ""
    note = f": {one.note}" if one.note else ""
    return f"{one.verdict}{by}, {_moment(farm, one.at)}{note}"


def _moment(farm: Farm, moment: datetime) -> str:
    shown = on_farm_clock(moment, farm.zone)
    return f"{day_words(shown)}, {shown:%H:%M}"
