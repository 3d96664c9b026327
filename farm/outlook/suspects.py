"""A suspect's history: the same spot followed over a vessel's photos, and the probability that it is contamination.

Patches are matched by their place on the face, not by colour: a mould turns from grey to green, and two moulds may
share a colour. Evidence for mould: new, growing, staying in place. Evidence against: there before anything could have
grown, moving, fading, not growing for long.

What is followed is kept with a vessel's summary: whoever changes what comes out here raises ``_VERSION`` in
farm/outlook/vessel_summary.py.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import exp, log
from typing import get_args

from calibration import Side, Species, own_colours, vessel_kinds
from farm.records import Anchor, anchor_of, around, place_of, same_place
from farm.records.models import KeptReading, Place, Suspect, Vessel
from farm.store import days_between

#: Photos that must show a spot clean before it counts as gone: glare or a turned bag may hide it in one.
GONE_AFTER = 2
#: A photo with more of the face hidden than this is no evidence that a suspect is gone, percent.
_HIDDEN_PERCENT = 15.0
#: Smallest change that counts as growing (a factor on the area, and cm2) or as fading (a factor).
_GROWN, _GROWN_CM2, _FADED = 1.3, 0.2, 0.6
#: From this percent on a vessel may show the colours that its species takes on with age.
_AGED_PERCENT = 50.0
#: Limits of the probability that colour alone can give.
_SUREST = 0.97

# What each observation adds to the natural log of the odds. Chosen by hand, the same for every vessel; what a score
# made of them is worth is measured by benchmarks/contamination.
_GROWS = 1.5
_STAYS = 0.5
_BEFORE_ANYTHING_GREW = -1.5
_STOOD_STILL_SINCE_FIRST = -1.0
_STOOD_STILL_SINCE_FIRST_MOST = 3
_MOVES = -1.5
_FADES = -1.0
_NOT_IN_NEWEST = -0.5
_GONE = -3.5


@dataclass(frozen=True)
class SuspectInPhoto:
    """A suspect in one photo: its patches there, and the box around them."""

    reading: KeptReading
    patches: tuple[Suspect, ...]
    place: Place | None

    @property
    def area_cm2(self) -> float:
        """Of all its patches."""
        return sum(mark.area_cm2 for mark in self.patches)

    @property
    def largest(self) -> Suspect:
        """The largest patch."""
        return max(self.patches, key=lambda one: (one.area_cm2, one.score))


@dataclass(frozen=True)
class Sighting:
    """A suspect in one photo, in short. reading: key of the reading; area_cm2: of all its patches there."""

    reading: str
    area_cm2: float
    place: Place | None


@dataclass(frozen=True)
class SuspectHistory:
    """One suspect of a vessel. first, last: its first and its newest sighting; sightings: all, oldest first.

    colour: the newest; colours: all that its patches had. score: 0-1, see the head of this module. reasons: what spoke
    for and against, in plain words, strongest first. missed: photos since the last sighting that show the spot clean.
    """

    colour: str
    first: SuspectInPhoto
    last: SuspectInPhoto
    sightings: tuple[Sighting, ...]
    colours: tuple[str, ...]
    score: float
    reasons: tuple[str, ...]
    missed: int

    @property
    def growth_cm2_per_day(self) -> float | None:
        """Mean growth from first to last sighting; None with one."""
        days = days_between(self.first.reading.taken_at, self.last.reading.taken_at)
        return (self.last.area_cm2 - self.first.area_cm2) / days if days > 0 else None

    def is_own_colour(self, species: str, own: Mapping[str, Species] | None = None) -> bool:
        """Whether the species has this colour of its own. own: the farm's own rows of the species table."""
        is_aged = (self.last.reading.percent or 0.0) >= _AGED_PERCENT
        return self.last.largest.own_colour or self.colour in own_colours(species, aged=is_aged, own=own)


def follow_suspects(
    vessel: Vessel, readings: Sequence[KeptReading], shaken_at: Sequence[datetime] = ()
) -> list[SuspectHistory]:
    """Every suspect that a vessel's readings (oldest first) ever showed, likeliest first; each side by itself.

    shaken_at: a shake mixes the contents, so a patch that moved or vanished across it is no evidence. Of readings
    without a percent only those with a suspect count: that they do not show another is no evidence against it.
    """
    says = [one for one in readings if one.status == "ok" or one.suspects]
    found = [
        history
        for side in get_args(Side)
        for history in _follow_side(vessel, [one for one in says if one.side == side], shaken_at)
    ]
    return sorted(found, key=lambda one: (-one.score, -one.last.area_cm2))


def _follow_side(vessel: Vessel, says: Sequence[KeptReading], shaken_at: Sequence[datetime]) -> list[SuspectHistory]:
    trails = _trails(says, anchor_of(vessel, says))
    phase = {id(one): sum(at <= one.taken_at for at in shaken_at) for one in says}
    usable = [one for one in says if one.status == "ok"]
    gone = {
        id(trail): _missed(trail, [one for one in usable if phase[id(one)] == _phase(trail, phase)]) for trail in trails
    }
    found = []
    for trail in trails:
        colour = trail[-1].largest.colour
        wandered = any(
            other is not trail
            and other[-1].largest.colour == colour
            and len(other) == 1
            and gone[id(other)] > 0
            and _phase(other, phase) == _phase(trail, phase)
            for other in trails
        )
        evidence = _evidence(vessel, trail, says, gone[id(trail)], wandered=wandered and len(trail) == 1)
        score = 1 / (1 + exp(-_colour_odds(trail) - sum(weight for weight, _ in evidence)))
        reasons = tuple(text for _, text in sorted(evidence, key=lambda one: -abs(one[0])))
        found.append(_history(trail, score, reasons, gone[id(trail)]))
    return found


def _history(trail: Sequence[SuspectInPhoto], score: float, reasons: tuple[str, ...], missed: int) -> SuspectHistory:
    last = trail[-1]
    return SuspectHistory(
        colour=last.largest.colour,
        first=trail[0],
        last=last,
        sightings=tuple(Sighting(one.reading.key, one.area_cm2, one.place) for one in trail),
        colours=tuple(dict.fromkeys(mark.colour for one in trail for mark in one.patches)),
        score=score,
        reasons=reasons,
        missed=missed,
    )


def _trails(readings: Sequence[KeptReading], anchor: Anchor) -> list[list[SuspectInPhoto]]:
    """Marks of all readings joined into sightings, and these over time by place."""
    trails: list[list[SuspectInPhoto]] = []
    for reading in readings:
        for mark in sorted(reading.suspects, key=lambda one: -one.area_cm2):
            place = place_of(reading, mark.box, anchor)
            near = [trail for trail in trails if _may_be(trail, reading, mark, place)]
            same = [trail for trail in near if trail[-1].largest.colour == mark.colour] or near[:1]
            if not same:
                trails.append([SuspectInPhoto(reading, (mark,), place)])
                continue
            # Two spots of one colour that have grown together are one from here on.
            joined = _joined(same) if len(same) > 1 else list(same[0])
            trails = [trail for trail in trails if not any(trail is one for one in same)] + [joined]
            _see(joined, reading, mark, place)
    return trails


def _may_be(trail: Sequence[SuspectInPhoto], reading: KeptReading, mark: Suspect, place: Place | None) -> bool:
    last = trail[-1]
    if last.reading is reading and last.largest.colour != mark.colour:
        return False
    if place is None or last.place is None:
        return last.largest.colour == mark.colour
    before = trail[-2] if last.reading is reading and len(trail) > 1 else last
    return same_place(last.place, place) or (before.place is not None and same_place(before.place, place))


def _joined(trails: Sequence[Sequence[SuspectInPhoto]]) -> list[SuspectInPhoto]:
    by_photo: dict[tuple[str, int], list[SuspectInPhoto]] = {}
    for sighting in sorted((one for trail in trails for one in trail), key=lambda one: one.reading.taken_at):
        by_photo.setdefault((sighting.reading.photo_hash, sighting.reading.slot), []).append(sighting)
    return [_one_of(group) for group in by_photo.values()]


def _one_of(group: Sequence[SuspectInPhoto]) -> SuspectInPhoto:
    places = [one.place for one in group if one.place is not None]
    marks = tuple(mark for one in group for mark in one.patches)
    return SuspectInPhoto(group[0].reading, marks, around(places) if places else None)


def _see(trail: list[SuspectInPhoto], reading: KeptReading, mark: Suspect, place: Place | None) -> None:
    fresh = SuspectInPhoto(reading, (mark,), place)
    if trail[-1].reading is reading:
        trail[-1] = _one_of([trail[-1], fresh])
    else:
        trail.append(fresh)


def _phase(trail: Sequence[SuspectInPhoto], phase: Mapping[int, int]) -> int:
    return phase[id(trail[-1].reading)]


def _missed(trail: Sequence[SuspectInPhoto], readings: Sequence[KeptReading]) -> int:
    since = trail[-1].reading.taken_at
    return sum(one.taken_at > since and (one.hidden_percent or 0.0) <= _HIDDEN_PERCENT for one in readings)


def _colour_odds(trail: Sequence[SuspectInPhoto]) -> float:
    """Log odds by colour alone: the best that one of the newest sightings says."""
    best = max(mark.score for sighting in trail[-GONE_AFTER:] for mark in sighting.patches)
    best = min(max(best, 1 - _SUREST), _SUREST)
    return log(best / (1 - best))


def _evidence(
    vessel: Vessel, trail: Sequence[SuspectInPhoto], readings: Sequence[KeptReading], missed: int, *, wandered: bool
) -> list[tuple[float, str]]:
    first, last = trail[0], trail[-1]
    largest = max(one.area_cm2 for one in trail)
    more = max(_GROWN * first.area_cm2, first.area_cm2 + _GROWN_CM2)
    grows = last.area_cm2 >= more and last.area_cm2 > _FADED * largest
    since_first = first.reading is readings[0]
    found: list[tuple[float, str]] = []
    if grows:
        found.append((_GROWS, "it grows and stays in place"))
    elif len(trail) > 1 and not since_first:
        found.append((_STAYS, "new, and still in its place"))
    if days_between(vessel.inoculated_at, first.reading.taken_at) < vessel_kinds()[vessel.kind].bare_until_days:
        found.append((_BEFORE_ANYTHING_GREW, "there before anything could have grown"))
    if since_first and not grows and len(trail) > 1:
        times = min(len(trail) - 1, _STOOD_STILL_SINCE_FIRST_MOST)
        found.append((_STOOD_STILL_SINCE_FIRST * times, "there since the first photo and not growing"))
    if wandered:
        found.append((_MOVES, "seen elsewhere before and gone from there: it moves about"))
    if last.area_cm2 <= _FADED * largest:
        found.append((_FADES, "it fades"))
    if missed:
        gone = missed >= GONE_AFTER
        found.append((_GONE if gone else _NOT_IN_NEWEST, "gone" if gone else "not seen in the newest photo"))
    return found
