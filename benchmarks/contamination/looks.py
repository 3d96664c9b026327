"""What should be flagged and what was: a look is one vessel in one photo, as of the day of that photo."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

#: left, top, width, height in photo pixels.
Box = tuple[int, int, int, int]
#: A photo read by itself, or in the series of its vessel.
View = Literal["alone", "series"]

#: A patch of at least this size must be flagged in the photo that shows it, cm2 of face.
DUE_CM2 = {"plate": 0.5}
USUAL_DUE_CM2 = 1.0


@dataclass(frozen=True)
class Flag:
    """A suspect as of this photo. boxes: where it was last seen; is_true: it lies on contamination."""

    colour: str
    score: float
    area_cm2: float
    boxes: tuple[Box, ...]
    is_true: bool


@dataclass(frozen=True)
class Look:
    """One vessel in one photo, with its truth and what was flagged.

    true_cm2: contaminated area, true_coloured_cm2: the part of it that is coloured; colour: "" if clean. ground: what
    most of the contamination lies on, "mycelium" or "bare". is_read: whether the photo gave a reading. alone, series:
    patches of this very photo's reading, by itself and in its series. flags: every suspect that the photos up to then
    had shown, also one that this photo does not show: what a grower sees marked that day. rule_hits, rule_misfires:
    whether the green rule flagged on contamination, and elsewhere. photo_file, face_box, truth_boxes: shown on the
    page; picture: a JPEG instead of them.
    """

    scene: str
    photo: str
    vessel: str
    kind: str
    day: float
    true_cm2: float
    true_coloured_cm2: float
    colour: str
    is_read: bool
    flags: tuple[Flag, ...] = ()
    alone: tuple[Flag, ...] = ()
    series: tuple[Flag, ...] = ()
    ground: str = ""
    rule_hits: bool = False
    rule_misfires: bool = False
    photo_file: Path | None = None
    face_box: Box | None = None
    truth_boxes: tuple[Box, ...] = ()
    picture: bytes = b""

    @property
    def is_due(self) -> bool:
        """Whether its coloured patch is large enough that it must be flagged."""
        return self.true_coloured_cm2 >= DUE_CM2.get(self.kind, USUAL_DUE_CM2)

    @property
    def is_large(self) -> bool:
        """Whether the patch has that size including its white part."""
        return self.true_cm2 >= DUE_CM2.get(self.kind, USUAL_DUE_CM2)

    @property
    def is_clean(self) -> bool:
        """Whether there is nothing to flag."""
        return self.true_cm2 == 0

    def flagged(self, threshold: float, *, truly: bool) -> bool:
        """Whether a suspect at or above the threshold lies on contamination (truly), or elsewhere (not)."""
        return any(one.score >= threshold and one.is_true == truly for one in self.flags)

    def shows(self, view: View, *, truly: bool) -> bool:
        """Whether this very photo's reading has a patch on contamination (truly), or elsewhere (not)."""
        return any(one.is_true == truly for one in (self.alone if view == "alone" else self.series))
