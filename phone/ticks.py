"""What is ticked off at the shelf, kept by the farm's own functions, and taken back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from pydantic import TypeAdapter, ValidationError

from farm.fruiting import harvest_cautions, record_harvest, take_back_harvest
from farm.lists import TodayItem, step_cautions_of
from farm.records import (
    STEPS,
    Kilograms,
    Step,
    add_events,
    chosen_vessels,
    ids_in_short,
    in_farm_unit,
    mark_done,
    move_vessels,
    remove_event,
    undo_done,
    undo_verdict,
)
from farm.records.models import Vessel
from farm.store import Farm
from farm.store.errors import DoubtfulHarvestError, SpawnrunError
from phone.words import Words

#: What else happens to a vessel at the shelf, beside the step that the list asks for.
EVENTS = ("shaken", "moved", "opened", "pins")


class TickError(SpawnrunError):
    """What was ticked cannot be kept so."""


@dataclass(frozen=True)
class Told:
    """What is said in the bar after a change. undo: the fields of the form that takes it back; () for none."""

    text: str
    undo: tuple[tuple[str, str], ...] = ()
    is_refusal: bool = False


def tick(farm: Farm, words: Words, form: Mapping[str, str], items: Sequence[TodayItem]) -> Told:
    """Keep what a form says was done (vessels, what, shelf), now. Raises SpawnrunError where it cannot be.

    items: today's list, which knows what speaks against a step.
    """
    vessels = chosen_vessels(farm, form.get("vessels", "").split())
    if not vessels:
        raise TickError(words("tick.no_vessel"))
    what, at = form.get("what", ""), farm.now
    is_step = what in STEPS and (what != "opened" or any(one.used_for == "fruiting" for one in vessels))
    if is_step:
        return _step(farm, words, vessels, next(one for one in STEPS if one == what), at, items)
    if what == "moved":
        return _move(farm, words, vessels, form.get("shelf", ""), at)
    if what == "harvested":
        return _harvest(farm, words, vessels, form.get("weight", ""), at)
    if what in EVENTS:
        add_events(farm, vessels, what, at)
        return _told(words, vessels, what, at)
    raise TickError(words("tick.unknown"))


def take_back(farm: Farm, words: Words, form: Mapping[str, str], by: str) -> Told:
    """Take back what the undo of a bar names. Raises SpawnrunError where that is not there any more."""
    vessels, what = form.get("vessels", "").split(), form.get("what", "")
    if what == "verdict":
        back = undo_verdict(farm, vessels[0] if vessels else "", verdict_id=_number(form.get("id", ""), words), by=by)
        return Told(words("told.back", vessels=back[0].vessel, what=words.known("verdict", back[0].verdict)))
    chosen = chosen_vessels(farm, vessels)
    named = ids_in_short(one.id for one in chosen)
    done = words.done(what, chosen[0].used_for if chosen else "")
    step = next((one for one in STEPS if one == what), None)
    at = _instant(form.get("at", ""), words)
    if step is not None and (what != "opened" or any(one.used_for == "fruiting" for one in chosen)):
        undo_done(farm, chosen, only=(step, at))
    elif what == "harvested":
        take_back_harvest(farm, chosen, only=at)
    elif what in EVENTS:
        for one in chosen:
            remove_event(farm, one.id, what, at)
        if what == "moved":
            for place in form.get("from", "").split("|"):
                shelf, _, ids = place.partition("=")
                if mine := [one.id for one in chosen if one.id in ids.split()]:
                    move_vessels(farm, mine, shelf or None)
    else:
        raise TickError(words("tick.unknown"))
    return Told(words("told.back", vessels=named, what=done))


def _step(
    farm: Farm, words: Words, vessels: Sequence[Vessel], step: Step, at: datetime, items: Sequence[TodayItem]
) -> Told:
    ids = {one.id for one in vessels}
    cautions = step_cautions_of([one for one in items if one.outlook.vessel.id in ids], step)
    if cautions.held:
        raise TickError(words("tick.held", vessels=ids_in_short(cautions.held)))
    mark_done(farm, vessels, at, step)
    told = _told(words, vessels, step, at)
    early = ids_in_short(cautions.early)
    return Told(f"{told.text} {words('tick.early', vessels=early)}" if early else told.text, told.undo)


def _move(farm: Farm, words: Words, vessels: Sequence[Vessel], shelf: str, at: datetime) -> Told:
    if not shelf.strip():
        raise TickError(words("tick.no_shelf"))
    before: dict[str, list[str]] = {}
    for one in vessels:
        before.setdefault(one.shelf, []).append(one.id)
    move_vessels(farm, [one.id for one in vessels], shelf[:40])
    add_events(farm, vessels, "moved", at)
    told = _told(words, vessels, "moved", at)
    places = "|".join(f"{name}={' '.join(ids)}" for name, ids in before.items())
    return Told(told.text, (*told.undo, ("from", places)))


def _harvest(farm: Farm, words: Words, vessels: Sequence[Vessel], weight: str, at: datetime) -> Told:
    """weight: in the farm's unit, or with its own."""
    try:
        fresh_kg = float(TypeAdapter(Kilograms).validate_python(in_farm_unit(weight, "weight", farm.units)))
    except ValidationError:
        raise TickError(words("tick.no_weight")) from None
    try:
        record_harvest(farm, vessels, fresh_kg, at)
    except DoubtfulHarvestError:
        raise TickError(words("tick.doubtful")) from None
    told = _told(words, vessels, "harvested", at)
    heavy = words("tick.heavy") if harvest_cautions(farm, vessels) else ""
    weighed = farm.units.weight(fresh_kg)
    return Told(" ".join(filter(None, (told.text, f"{weighed}.", heavy, words("told.food")))), told.undo)


def _told(words: Words, vessels: Sequence[Vessel], what: str, at: datetime) -> Told:
    ids = [one.id for one in vessels]
    undo = (("vessels", " ".join(ids)), ("what", what), ("at", at.isoformat()))
    return Told(words("told.done", vessels=ids_in_short(ids), what=words.done(what, vessels[0].used_for)), undo)


def _instant(text: str, words: Words) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise TickError(words("tick.unknown")) from None
    if moment.tzinfo is None:
        raise TickError(words("tick.unknown"))
    return moment


def _number(text: str, words: Words) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 12):
        raise TickError(words("tick.unknown"))
    return int(text)
