"""What the farm hands out: frozen records, instants in UTC."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from calibration import Kind, LabelPlace, LabelSize, Side, Use, use_is_assumed, use_of, use_of_substrate

State = Literal["running", "closed", "contaminated", "quarantined"]
#: Out of the lists because contamination was confirmed; a quarantined vessel is kept, apart from the others.
TAKEN_OUT: tuple[State, ...] = ("contaminated", "quarantined")
TakenFrom = Literal["camera", "file name", "file time"]
Verdict = Literal["confirmed", "dismissed", "watched"]

#: What the reason of a reading without a percent begins with, where another photo may bear one.
RETAKE = "retake: "

#: Subjects of a review that are no colour: growth that stopped or is far behind that of the batch, a percent that fell,
#: a reading that does not fit.
STALL = "stall"
BEHIND = "far behind"
DROP = "drop"
MISFIT = "wrong reading"
#: And signs beside colour, by the names that vision gives them as flags.
SIGN_SUBJECTS: dict[str, str] = {
    "part_stalled": "stalled part",
    "wet_patch": "wet patch",
    "sharp_front": "sharp front",
}
#: Of what is no colour, this is contamination if a person confirms it.
_SPOILED = SIGN_SUBJECTS["wet_patch"]
_NO_CONTAMINATION = frozenset({STALL, BEHIND, DROP, MISFIT, *SIGN_SUBJECTS.values()} - {_SPOILED})


def means_contamination(subject: str) -> bool:
    """Whether confirming this subject says that the vessel is contaminated."""
    return subject not in _NO_CONTAMINATION


@dataclass(frozen=True)
class Vessel:
    """A vessel of the farm. Lengths and contents that are None are the usual ones of its kind.

    temperature_c: mean of its place. shelf: where it stands, as the farm calls it. use: what the record says that it is
    for, None if it does not say. contents_kg: wet weight of its grain or substrate.
    """

    id: str
    kind: Kind
    inoculated_at: datetime
    species: str = ""
    substrate: str = ""
    batch: str = ""
    source: str = ""
    face_width_mm: float | None = None
    face_height_mm: float | None = None
    diameter_mm: float | None = None
    label_size: LabelSize | None = None
    label_place: LabelPlace | None = None
    state: State = "running"
    closed_at: datetime | None = None
    temperature_c: float | None = None
    shelf: str = ""
    use: Use | None = None
    contents_kg: float | None = None

    @property
    def trial(self) -> str:
        """What it is one trial with in statistics: its batch, else what came from its source at the same moment."""
        if self.batch:
            return self.batch
        return f"{self.source.upper()} at {self.inoculated_at.isoformat()}" if self.source else self.id

    @property
    def used_for(self) -> Use:
        """What it is for: as its record says, else as its substrate tells, else what its kind is usually for."""
        return use_of(self.kind, self.substrate, self.use)

    @property
    def use_is_assumed(self) -> bool:
        """Whether only its kind says what it is for, and the kind is used for several things."""
        return use_is_assumed(self.kind, self.substrate, self.use)

    @property
    def use_in_words(self) -> str:
        """What it is for, and what tells so."""
        if self.use is not None:
            return f"{self.use}, as its record says"
        if use_of_substrate(self.substrate) is not None:
            return f"{self.used_for}, as its substrate tells"
        why = "its substrate is not known" if self.substrate else "no substrate is given"
        return f"taken for {self.used_for}, as is usual for a {self.kind}: {why}"


@dataclass(frozen=True)
class Note:
    """Something a person wrote about a vessel."""

    vessel: str
    at: datetime
    text: str


@dataclass(frozen=True)
class Event:
    """Something that was done to a vessel or seen of it (farm.records.tables.EventName). why: the reason given."""

    vessel: str
    event: str
    at: datetime
    why: str = ""


@dataclass(frozen=True)
class Harvest:
    """Mushrooms picked from a vessel, fresh weight in kg.

    flush: its number as a person said, None where it is to be worked out. together: the vessels that were weighed
    together, in short; fresh_kg is then an equal share. "" is this vessel alone.
    """

    vessel: str
    at: datetime
    fresh_kg: float
    flush: int | None = None
    together: str = ""


@dataclass(frozen=True)
class Suspect:
    """A colour anomaly on a reading: as vision's Suspect, without needing vision to be loaded.

    box: left, top, width, height in photo pixels. score: 0-1. own_colour: the species has it of its own.
    """

    colour: str
    area_cm2: float
    box: tuple[int, int, int, int]
    score: float
    own_colour: bool = False


@dataclass(frozen=True)
class Sign:
    """A sign beside colour on a reading, by its flag's name; box: left, top, width, height in photo pixels."""

    name: str
    box: tuple[int, int, int, int]
    area_cm2: float


@dataclass(frozen=True)
class FaceFrame:
    """Where a kept face lies in its photo: to_photo, (3, 3) row by row, maps face px (column, row, 1) to photo px."""

    to_photo: tuple[tuple[float, ...], ...]
    px_per_mm: float


@dataclass(frozen=True)
class Place:
    """A box on a vessel's face, mm, x right, y down.

    anchor "label": from the origin of the face frame, which the label on the vessel holds in place from day to day.
    anchor "face": from the middle of the face as it was found. side: of the vessel.
    """

    anchor: Literal["label", "face"]
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float
    side: Side = "front"

    @property
    def middle_mm(self) -> tuple[float, float]:
        """Its middle, x and y."""
        return self.left_mm + self.width_mm / 2, self.top_mm + self.height_mm / 2


@dataclass(frozen=True)
class KeptReading:
    """One vessel in one photo, as the farm keeps it; percents are 0-100, bounds 80 %.

    photo: path for people; photo_hash and slot: its key. percent_alone: from this photo alone, before its series.
    side: of the vessel; "both" where a front and a back reading were made one. steep_percent: share of a round wall's
    face that turns away by more than 60 degrees; None for flat ones.
    """

    photo: str
    photo_hash: str
    slot: int
    taken_at: datetime
    taken_from: TakenFrom
    status: str
    vessel: str | None = None
    kind: Kind | None = None
    reason: str = ""
    percent: float | None = None
    percent_low: float | None = None
    percent_high: float | None = None
    percent_alone: float | None = None
    hidden_percent: float | None = None
    mm_per_px: float | None = None
    face_box: tuple[int, int, int, int] | None = None
    suspects: tuple[Suspect, ...] = ()
    flags: tuple[str, ...] = ()
    has_face: bool = False
    frame: FaceFrame | None = None
    side: Side | Literal["both"] = "front"
    steep_percent: float | None = None
    signs: tuple[Sign, ...] = ()

    @property
    def why_unusable(self) -> str:
        """In a few words why it bears no percent, without what to do about it; "" where it bears one."""
        return self.reason.removeprefix(RETAKE).partition(";")[0]

    @property
    def key(self) -> str:
        """Names this reading in the records."""
        return f"{self.photo_hash}-{self.slot}"


@dataclass(frozen=True)
class Review:
    """A person's verdict on a suspect (subject: its colour; place: where), or on a word of this module (place None).

    reading: key of the reading that is judged, for MISFIT.
    undone_at, undone_by: when and by whom it was taken back; it then counts for nothing and stays in the records.
    """

    vessel: str
    subject: str
    verdict: Verdict
    at: datetime
    by: str = ""
    note: str = ""
    area_cm2: float | None = None
    place: Place | None = None
    undone_at: datetime | None = None
    undone_by: str = ""
    id: int | None = None
    reading: str | None = None


@dataclass(frozen=True)
class KeptFace:
    """A face as bytes, and where it lies in its photo."""

    content: bytes
    frame: FaceFrame
