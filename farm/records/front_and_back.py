"""A bag photographed front and back: the readings of both faces made one series of the vessel.

The percent of such a vessel is the share of both faces together. A front and a back reading taken close to each other
are averaged by the area that each showed. A face read alone shows only half of the vessel, so its bounds are widened by
the difference seen so far between the two faces of this vessel.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from math import sqrt

from farm.records.models import KeptReading

#: Readings of two faces within this belong together.
TOGETHER = timedelta(hours=12)
#: By how much front and back differ where they were never seen together, points at half colonised (a guess, no source);
#: it counts as much as one pair.
_USUAL_DIFFERENCE = 12.0
#: From a standard deviation to the reach of 80 % bounds.
_Z80 = 1.2816


def combine_faces(readings: Sequence[KeptReading], shaken_at: Sequence[datetime] = ()) -> list[KeptReading]:
    """The series of a vessel from its usable readings (oldest first): unchanged where only one side was ever read.

    A pair keeps the photo and face of its front, the flags, signs and suspects of both, and the middle of their times;
    no pair lies across a shake. A reading that finds several of the other side takes the nearest in time.
    """
    fronts = [one for one in readings if one.side == "front" and one.percent is not None]
    backs = [one for one in readings if one.side == "back" and one.percent is not None]
    if not fronts or not backs:
        return list(readings)
    of_fronts = [(front, near) for front in fronts if (near := _nearest(front, backs, shaken_at)) is not None]
    of_backs = [(near, back) for back in backs if (near := _nearest(back, fronts, shaken_at)) is not None]
    pairs = {(front.key, back.key): (front, back) for front, back in (*of_fronts, *of_backs)}
    paired = {key for keys in pairs for key in keys}
    differs = _usual_difference([*pairs.values()])
    alone = [_widened(one, differs) for one in (*fronts, *backs) if one.key not in paired]
    return sorted([*(_paired(*pair) for pair in pairs.values()), *alone], key=lambda one: (one.taken_at, one.key))


def _nearest(one: KeptReading, others: Sequence[KeptReading], shaken_at: Sequence[datetime]) -> KeptReading | None:
    def phase(reading: KeptReading) -> int:
        return sum(at <= reading.taken_at for at in shaken_at)

    near = [other for other in others if abs(other.taken_at - one.taken_at) <= TOGETHER and phase(other) == phase(one)]
    return min(near, key=lambda other: abs(other.taken_at - one.taken_at), default=None)


def _paired(front: KeptReading, back: KeptReading) -> KeptReading:
    """Both faces as one reading. Their errors share the light, the camera and the program: bounds are averaged too."""
    areas = _seen_mm2(front), _seen_mm2(back)
    share = areas[0] / (areas[0] + areas[1]) if areas[0] and areas[1] else 0.5

    def mean(of_front: float | None, of_back: float | None) -> float | None:
        return None if of_front is None or of_back is None else share * of_front + (1 - share) * of_back

    return replace(
        front,
        percent=mean(front.percent, back.percent),
        percent_low=mean(front.percent_low, back.percent_low),
        percent_high=mean(front.percent_high, back.percent_high),
        percent_alone=mean(front.percent_alone, back.percent_alone),
        hidden_percent=mean(front.hidden_percent, back.hidden_percent),
        side="both",
        taken_at=front.taken_at + (back.taken_at - front.taken_at) / 2,
        suspects=(*front.suspects, *back.suspects),
        signs=(*front.signs, *back.signs),
        flags=tuple(dict.fromkeys((*front.flags, *back.flags))),
    )


def _seen_mm2(one: KeptReading) -> float | None:
    """About how much of the face was seen: the box around it less what was hidden."""
    if one.face_box is None or one.mm_per_px is None:
        return None
    seen = 1.0 - min(one.hidden_percent or 0.0, 90.0) / 100.0
    return one.face_box[2] * one.face_box[3] * one.mm_per_px**2 * seen


def _usual_difference(pairs: Sequence[tuple[KeptReading, KeptReading]]) -> float:
    """Root mean square by which the two faces differ, points at half colonised."""
    squares = [_USUAL_DIFFERENCE**2]
    for front, back in pairs:
        difference = (front.percent or 0.0) - (back.percent or 0.0)
        room = _room(((front.percent or 0.0) + (back.percent or 0.0)) / 2)
        squares.append((difference / max(room, 0.3)) ** 2)
    return sqrt(sum(squares) / len(squares))


def _room(percent: float) -> float:
    """How far two faces can differ, 1 at half colonised, 0 at both ends: as the spread of a share does."""
    share = min(max(percent / 100.0, 0.0), 1.0)
    return sqrt(4.0 * share * (1.0 - share))


def _widened(one: KeptReading, differs: float) -> KeptReading:
    """The other face may be as far off as the two usually are, and is half of the whole."""
    percent = one.percent or 0.0
    more = _Z80 * differs / 2 * max(_room(percent), 0.1)
    low = percent if one.percent_low is None else one.percent_low
    high = percent if one.percent_high is None else one.percent_high
    return replace(
        one,
        percent_low=max(0.0, percent - sqrt((percent - low) ** 2 + more**2)),
        percent_high=min(100.0, percent + sqrt((high - percent) ** 2 + more**2)),
    )
