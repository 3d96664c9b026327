"""One thing up for review, as a record: what it is, where, since when, and the verdicts on it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from farm.outlook import SuspectHistory
from farm.records.models import KeptReading, Review, Sign, Suspect

Urgency = Literal["high", "middle", "low"]
#: open: waits for a verdict. below: its score is under the farm's threshold. own colour: of its species. taken out: of
#: a vessel that runs no more.
Standing = Literal["open", "below", "own colour", "dismissed", "confirmed", "taken out"]


@dataclass(frozen=True)
class ReviewItem:
    """Something to look at.

    subject: a suspect's colour, or another word of ``farm.records``. names: what this one thing on the vessel may be
    called, such as "green, lower right"; the first is the one that is printed. where: on the face, in words. since:
    first sighting. growth_cm2_per_day: None with one sighting. suspect or sign, and reading: where it was seen last.
    verdict: what a person said of it last. worth: what flags of this score were in the benchmark. holds_back: whether
    the vessel is to be looked at before it is used; a reading that does not fit holds it back only if it is the newest.
    """

    vessel: str
    subject: str
    urgency: Urgency
    why: str
    where: str
    since: datetime
    watched: bool
    score: float = 0.0
    area_cm2: float | None = None
    growth_cm2_per_day: float | None = None
    suspect: Suspect | None = None
    sign: Sign | None = None
    reading: KeptReading | None = None
    names: tuple[str, ...] = ("",)
    standing: Standing = "open"
    history: SuspectHistory | None = None
    verdict: Review | None = None
    worth: str = ""
    holds_back: bool = True

    @property
    def key(self) -> str:
        """The name that is printed."""
        return self.names[0]
