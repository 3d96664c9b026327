"""What became of vessels whose step was done: noted with its day and the vessels that it made, and taken back."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from itertools import islice
from typing import Literal

from pydantic import ValidationError
from sqlalchemy import Connection, delete, func, insert, select, update

from calibration import Use
from farm.records.events import event_fault, select_events
from farm.records.id_ranges import expand_ids, ids_in_short, said_once
from farm.records.mistyped import drop_vessels
from farm.records.models import Event, Vessel
from farm.records.tables import VesselRow
from farm.records.taken_back import keep_taken_back, was_taken_back
from farm.records.vessels import insert_vessels, list_vessels, select_vessels, vessel_of_row
from farm.store import Farm, day_words, fault_words, iso, on_farm_clock, schema
from farm.store.errors import VesselChangeError

#: The event that notes a step. After "opened" the vessel runs on: it fruits; after the others it is closed.
Step = Literal["transferred", "spawned", "opened", "thrown_out", "spent"]
STEPS: tuple[Step, ...] = ("transferred", "spawned", "opened", "thrown_out", "spent")
#: Steps that use a vessel up to inoculate others.
_MAKING: tuple[Step, ...] = ("transferred", "spawned")
#: The usual step of what is ready.
STEP_OF_USE: dict[Use, Step] = {"culture": "transferred", "spawn": "spawned", "fruiting": "opened"}


@dataclass(frozen=True)
class Done:
    """A step that was done with a vessel, the vessels that it made, and why it was done ("": not said)."""

    vessel: Vessel
    step: Step
    at: datetime
    made: tuple[Vessel, ...] = ()
    why: str = ""


def made_vessels(
    farm: Farm, sources: Sequence[Vessel], texts: Sequence[str], at: datetime, facts: Mapping[str, str]
) -> list[Vessel]:
    """New vessels of ids and ranges of ids, inoculated at a moment, of their source's species; none is added yet.

    They are shared out to the sources in order, the same number from each. facts: other columns of vessels.csv.
    Raises VesselChangeError where they cannot be shared out so, or for what is no id.
    """
    try:
        ids = expand_ids(texts, new=True)
    except ValueError as error:
        raise VesselChangeError(str(error)) from None
    each, over = divmod(len(ids), len(sources))
    if over:
        raise VesselChangeError(f"{len(ids)} new vessels from {len(sources)}: not the same from each; note one by one")
    rest = iter(ids)
    shared = [(new, source) for source in sources for new in islice(rest, each)]
    return [vessel_of_row(_row(new, source, at, facts), farm) for new, source in shared]


def _row(new: str, source: Vessel, at: datetime, facts: Mapping[str, str]) -> VesselRow:
    try:
        return VesselRow.model_validate(
            {"vessel": new, "inoculated": at, "species": source.species, "source": source.id, **facts}
        )
    except ValidationError as error:
        faults = "; ".join(map(fault_words, error.errors()))
        raise VesselChangeError(f"{new} from {source.id}: {faults}") from None


def mark_done(
    farm: Farm,
    vessels: Sequence[Vessel],
    at: datetime,
    step: Step | None = None,
    made: Sequence[Vessel] = (),
    *,
    why: str = "",
) -> list[Done]:
    """Note that the step of vessels was done, all or none. step None: the usual one of what each is for.

    made: the new vessels, each with its source. Raises VesselChangeError, also where the same was noted before.
    """
    done = []
    for vessel in vessels:
        mine = tuple(new for new in made if new.source == vessel.id)
        done.append(Done(vessel, step or STEP_OF_USE[vessel.used_for], at, mine, why.strip()))
    faults = said_once((one.vessel.id, _fault(farm, one)) for one in done)
    with farm.writing() as connection:
        before = list(select_events(connection, [one.vessel.id for one in done]))
        faults += said_once((one.vessel.id, _noted_before(farm, one, before)) for one in done)
        taken = [one.id for one in select_vessels(connection, [new.id for new in made])]
        faults += said_once((one, f"{one} is in the farm already") for one in taken)
        if faults:
            raise VesselChangeError("; ".join(faults))
        for one in done:
            connection.execute(insert(schema.events).values(asdict(Event(one.vessel.id, one.step, at, one.why))))
            if one.step != "opened":
                _set_state(connection, one.vessel.id, "closed", at)
        insert_vessels(connection, made)
    return done


def entered_last(farm: Farm, vessels: Sequence[Vessel]) -> list[tuple[Done, bool]]:
    """The step of each vessel that ``undo_done`` would take back, and whether a later one was taken back already.

    Who repeats an undo may not know that it reaches further back. Raises VesselChangeError where there is none.
    """
    last = [_entered_last(farm, one) for one in vessels]
    with farm.reading() as connection:
        return [(one, was_taken_back(connection, one.vessel.id, "step", number)) for number, one in last]


def undo_done(farm: Farm, vessels: Sequence[Vessel], only: tuple[Step, datetime] | None = None) -> list[Done]:
    """Take back the step of each vessel that was entered last, with the vessels it made, all or none.

    What counts is the order of entry, not the day of the step. only: the step and its moment, as a button names it that
    may be older than what was noted since; another one is refused. Raises VesselChangeError, also where the steps of
    several vessels were not given together.
    """
    entered = [_entered_last(farm, one) for one in vessels]
    back = [one for _, one in entered]
    for one in back:
        if only is not None and (one.step, one.at) != only:
            raise VesselChangeError(f"{one.vessel.id}: {_step_words(farm, one)} was noted last; nothing was taken back")
    _, newest = max(entered, key=lambda pair: pair[0])
    if others := [one for one in back if not _given_together(one, newest)]:
        raise VesselChangeError(_others_words(farm, others, newest))
    with farm.writing() as connection:
        for one in back:
            row = schema.events.c
            same = (row.vessel == one.vessel.id, row.event == one.step, row.at == one.at)
            connection.execute(delete(schema.events).where(*same))
            if one.step != "opened":
                _set_state(connection, one.vessel.id, "running", None)
            drop_vessels(connection, one.made, f"taken back for {one.vessel.id}")
            left = select(func.max(row.id)).where(row.vessel == one.vessel.id, row.event.in_(STEPS))
            keep_taken_back(connection, one.vessel.id, "step", connection.scalar(left) or 0)
    return back


def _given_together(one: Done, newest: Done) -> bool:
    """Whether two steps can be of one entry: of the same moment, and the same step or each the usual one."""
    usual = all(done.step == STEP_OF_USE[done.vessel.used_for] for done in (one, newest))
    return one.at == newest.at and (one.step == newest.step or usual)


def _others_words(farm: Farm, others: Sequence[Done], newest: Done) -> str:
    alike: dict[str, list[str]] = {}
    for one in others:
        alike.setdefault(_step_words(farm, one), []).append(one.vessel.id)
    steps = "; ".join(f"{ids_in_short(ids)}: {step}" for step, ids in alike.items())
    return (
        f"{newest.vessel.id}: {_step_words(farm, newest)}; the newest step of others was not noted with it: {steps}"
        "; nothing was taken back; leave those out, or take each back by itself"
    )


def _step_words(farm: Farm, one: Done) -> str:
    return f"{one.step.replace('_', ' ')} at {iso(one.at, farm.zone)}"


def _entered_last(farm: Farm, vessel: Vessel) -> tuple[int, Done]:
    """The step of a vessel that was entered last, with its number in the order of entry. Raises VesselChangeError."""
    steps: Mapping[str, Step] = {name: name for name in STEPS}
    table = schema.events.c
    mine = select(table.id, table.event, table.at, table.why).where(table.vessel == vessel.id, table.event.in_(STEPS))
    with farm.reading() as connection:
        last = connection.execute(mine.order_by(table.id.desc()).limit(1)).first()
    if last is None:
        raise VesselChangeError(f"nothing was noted as done with {vessel.id}")
    made = [one for one in list_vessels(farm) if one.source == vessel.id and one.inoculated_at == last.at]
    return last.id, Done(vessel, steps[last.event], last.at, tuple(made), last.why)


def _fault(farm: Farm, one: Done) -> str:
    if one.vessel.state != "running":
        return _off_words(farm, one.vessel)
    if one.made and one.step not in _MAKING:
        return f"{one.vessel.id}: what is {one.step.replace('_', ' ')} makes no new vessels"
    if one.step == "spent" and one.vessel.used_for != "fruiting":
        return f"{one.vessel.id} is for {one.vessel.used_for}: spent is what has fruited"
    return event_fault(farm, Event(one.vessel.id, one.step, one.at), one.vessel)


def _off_words(farm: Farm, vessel: Vessel) -> str:
    """That a vessel is off the lists, since when, and how that is taken back."""
    off = f"{vessel.id} is {vessel.state} already"
    with farm.reading() as connection:
        steps = [one for one in select_events(connection, [vessel.id]) if one.at == vessel.closed_at]
    step = next((one.event for one in steps if one.event in STEPS and one.event != "opened"), "")
    if vessel.state == "closed" and step:
        since = day_words(on_farm_clock(vessel.closed_at or farm.now, farm.zone))
        return f"{off} ({step.replace('_', ' ')} on {since}; `spawnrun done {vessel.id} --undo` takes that back)"
    return f"{off}; `spawnrun vessel close {vessel.id} --reopen` takes that back" if vessel.state == "closed" else off


def _noted_before(farm: Farm, one: Done, events: Iterable[Event]) -> str:
    """That the step of a running vessel was noted before, in words; "" where it was not. events: of any vessels."""
    same = [event.at for event in events if (event.vessel, event.event) == (one.vessel.id, one.step)]
    if one.vessel.state != "running" or not same:
        return ""
    if one.step == "opened":
        since = day_words(on_farm_clock(min(same), farm.zone))
        return f"{one.vessel.id} fruits since {since} already; `--as spent` notes that it bears no more"
    if one.at in same:
        return f"{one.vessel.id}: {one.step.replace('_', ' ')} at {iso(one.at, farm.zone)} is noted already"
    return ""


def _set_state(connection: Connection, vessel: str, state: str, closed_at: datetime | None) -> None:
    same = update(schema.vessels).where(schema.vessels.c.id == vessel)
    connection.execute(same.values(state=state, closed_at=closed_at))
