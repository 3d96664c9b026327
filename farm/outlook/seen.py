"""What a vessel's photos show that a person may have to judge: suspects followed over days, and signs beside colour."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from farm.outlook.suspects import SuspectHistory, follow_suspects
from farm.records.models import KeptReading, Sign, Vessel


@dataclass(frozen=True)
class SignSeen:
    """A sign on the newest photo of a side. sign: its largest patch there; since: the first photo that shows it.

    From that photo to the newest all of the side show it.
    """

    sign: Sign
    reading: KeptReading
    since: datetime


@dataclass(frozen=True)
class Seen:
    """suspects: all that the photos ever showed, likeliest first. signs: those of the newest photo of each side."""

    suspects: tuple[SuspectHistory, ...] = ()
    signs: tuple[SignSeen, ...] = ()

    @property
    def is_calm(self) -> bool:
        """Whether there is nothing to judge."""
        return not self.suspects and not self.signs


NOTHING_SEEN = Seen()


def what_is_seen(
    vessel: Vessel,
    faces: Sequence[KeptReading],
    shaken_at: Sequence[datetime],
    without_percent: Sequence[KeptReading] = (),
) -> Seen:
    """What a vessel's readings show, each side by itself, oldest first; shaken_at: as in ``follow_suspects``.

    without_percent: readings that could bear no percent but show a suspect.
    """
    if not without_percent and not any(one.suspects or one.signs for one in faces):
        return NOTHING_SEEN
    readings = sorted((*faces, *without_percent), key=lambda one: one.taken_at)
    return Seen(tuple(follow_suspects(vessel, readings, shaken_at)), tuple(_signs(faces)))


def _signs(faces: Sequence[KeptReading]) -> Iterator[SignSeen]:
    newest = {one.side: one for one in faces}
    for reading in newest.values():
        for name in dict.fromkeys(sign.name for sign in reading.signs):
            largest = max((one for one in reading.signs if one.name == name), key=lambda one: one.area_cm2)
            yield SignSeen(largest, reading, _since(faces, name, reading))


def _since(faces: Sequence[KeptReading], name: str, newest: KeptReading) -> datetime:
    """The first of the photos of that side, up to the newest, that show the sign without a break."""
    since = newest.taken_at
    for one in reversed([one for one in faces if one.side == newest.side]):
        if all(sign.name != name for sign in one.signs):
            break
        since = one.taken_at
    return since
