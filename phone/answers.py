"""The answer to a photo: which vessels were read, what is new, and what to take again and why."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from farm.lists import ShelfRound, seen_today
from farm.outlook import readings_of
from farm.records import ids_in_short, known_photos, list_readings, list_vessels
from farm.records.models import KeptReading, Vessel
from farm.store import Farm, on_farm_clock
from phone.measuring import Measuring, PhotoState
from phone.uploads import kept_photo
from phone.words import Words

#: A suspect is told at the shelf if its score is at least the farm's; what to do then is said on the review page.
AnswerKind = Literal["read", "new", "again"]
#: How a reason of the measuring begins or what it contains, and the words for it: most special first.
RETAKE_REASONS = (
    (r"a label was found but cannot be read", "label_unread"),
    (r"^label (?P<label>\S+) belongs to no vessel", "label_unknown"),
    (r"the picture is far too dark|^retake: far too dark", "dark"),
    (r"the picture is blown out|^retake: blown out", "bright"),
    (r"the picture is too blurred|^retake: too blurred", "blurred"),
    (r"^no label found", "no_label"),
    (r"no vessel was found at this label|no vessel found in the picture|no face in the picture", "no_vessel"),
    (r"cannot be told without a label", "needs_label"),
    (r"what is mycelium cannot be told here", "cannot_tell"),
    (r"the face lies mostly outside", "outside"),
    (r"too small or too narrow", "too_small"),
)
#: A reason says so where a suspect was seen in a picture that gave no percent.
MAY_BE_MOULD = "may be mould"
#: Flags of a reading that another picture would mend.
RETAKE_FLAGS = ("cut_by_frame", "much_hidden", "dim", "overexposed", "soft", "taken_in_future")


@dataclass(frozen=True)
class AnswerLine:
    """A line of an answer. vessel: "" for a line on the whole photo. kind: read, new (to look at), or again."""

    kind: AnswerKind
    vessel: str
    text: str


@dataclass(frozen=True)
class Answer:
    """What became of a photo. state: where it stands; lines: what was read, once it is done."""

    photo_hash: str
    state: PhotoState
    lines: tuple[AnswerLine, ...] = ()


def answer_of(farm: Farm, measuring: Measuring, words: Words, photo_hash: str) -> Answer | None:
    """The answer to a photo; None for one that the farm does not have."""
    state, why = measuring.state_of(photo_hash)
    if state == "failed":
        return Answer(photo_hash, state, (AnswerLine("again", "", words("again.failed", why=why)),))
    if state is not None:
        return Answer(photo_hash, state)
    if known_photos(farm, [photo_hash]):
        return Answer(photo_hash, "done", tuple(_lines(farm, words, photo_hash)))
    return Answer(photo_hash, "waiting") if kept_photo(farm, photo_hash) else None


def round_lines(words: Words, shelves: Sequence[ShelfRound]) -> list[str]:
    """What a round of the shelves has missed so far, in words: shelves that nobody has seen, and single vessels."""
    lines = []
    for one in shelves:
        name = words("shelf", shelf=one.shelf) if one.shelf else words("shelf_none")
        if not one.seen:
            lines.append(words("round.nobody", len(one.missing), shelf=name))
        elif one.missing:
            lines.append(words("round.missing", shelf=name, vessels=ids_in_short(one.missing)))
    return lines


def retake_words(words: Words, reason: str) -> str:
    """Why a picture gave no percent and how to take it again; the measuring's own English where none is known."""
    for pattern, key in RETAKE_REASONS:
        if (match := re.search(pattern, reason)) is not None:
            said = words(f"again.{key}", **match.groupdict())
            return f"{said} {words('again.may_be_mould')}" if MAY_BE_MOULD in reason else said
    return reason


def _lines(farm: Farm, words: Words, photo_hash: str) -> list[AnswerLine]:
    readings = list_readings(farm, photo_hashes=[photo_hash])
    read = [one for one in readings if one.status == "ok" and one.vessel is not None]
    unread = [one for one in readings if one not in read]
    lines = [AnswerLine("again", one.vessel or "", _again(farm, words, one, read)) for one in unread]
    series = readings_of(farm, [one.vessel for one in read if one.vessel])
    for one in sorted(read, key=lambda one: one.vessel or ""):
        vessel = one.vessel or ""
        before = [other for other in series[vessel].faces if other.taken_at < one.taken_at] if vessel in series else []
        lines += _of_vessel(farm, words, one, before[-1] if before else None)
    order: dict[AnswerKind, int] = {"again": 0, "new": 1, "read": 2}
    return sorted(lines, key=lambda line: (order[line.kind], line.vessel))


def _of_vessel(farm: Farm, words: Words, one: KeptReading, before: KeptReading | None) -> list[AnswerLine]:
    vessel, percent = one.vessel or "", f"{one.percent or 0.0:.0f}"
    if before is None:
        text = words("answer.first", percent=percent)
    else:
        day = words.short_day(on_farm_clock(before.taken_at, farm.zone))
        text = words("answer.read", percent=percent, before=f"{before.percent or 0.0:.0f}", day=day)
    lines = [AnswerLine("read", vessel, text)]
    threshold = farm.settings.suspect_score
    had = {mark.colour for mark in (() if before is None else before.suspects) if mark.score >= threshold}
    for mark in one.suspects:
        if mark.score >= threshold and not mark.own_colour:
            what = words.known("subject", mark.colour)
            key = "answer.still" if mark.colour in had else "answer.new"
            lines.append(AnswerLine("new", vessel, words(key, what=what, area=farm.units.area(mark.area_cm2))))
    lines += [AnswerLine("new", vessel, words.known("subject", one_sign.name)) for one_sign in one.signs]
    lines += [AnswerLine("again", vessel, words(f"flag.{name}")) for name in one.flags if name in RETAKE_FLAGS]
    return list(dict.fromkeys(lines))


def _again(farm: Farm, words: Words, one: KeptReading, read: Sequence[KeptReading]) -> str:
    text = retake_words(words, one.reason)
    if one.vessel is None and (likely := _likely(farm, read)):
        text += f" {words('again.likely', vessels=', '.join(likely))}"
    return text


def _likely(farm: Farm, read: Sequence[KeptReading]) -> list[str]:
    """Which vessels an unread label may be of: those beside the ones that were read, not seen today; at most three."""
    beside = {one.vessel for one in read}
    vessels = list_vessels(farm, state="running")
    near = {_place(one) for one in vessels if one.id in beside}
    seen = seen_today(farm)
    found = [one.id for one in vessels if _place(one) in near and one.id not in seen and one.id not in beside]
    return found if len(found) <= 3 else []


def _place(vessel: Vessel) -> tuple[str, str]:
    return (vessel.shelf, "") if vessel.shelf else ("", vessel.batch)
