"""What speaks against a step that is to be noted: something up for review refuses it; an early step gets a warning."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from farm.fruiting import fruiting_since
from farm.lists.today import TodayItem, list_today
from farm.outlook import Outlook, bring_up_to_date
from farm.records import Step, ids_in_short
from farm.records.models import Vessel
from farm.store import Farm
from farm.store.errors import VesselChangeError


def step_cautions(farm: Farm, vessels: Sequence[Vessel], step: Step | None = None) -> list[str]:
    """Warnings on vessels whose step is to be noted, as of the farm's now; [] where all are ready, or thrown out.

    step None: the usual one of each. The farm is brought up to date. Raises VesselChangeError naming the vessels that
    something up for review holds back; these can be thrown out only.
    """
    if step == "thrown_out":
        return []
    ids = {one.id for one in vessels}
    if step == "spent":
        bare = ids_in_short(ids - fruiting_since(farm, ids).keys())
        return [f"that they fruit was never noted: {bare}"] if bare else []
    items = list_today(farm, [one for one in bring_up_to_date(farm) if one.vessel.id in ids])
    if held := {one.outlook.vessel.id: one.action for one in items if one.needs_look}:
        named = ", ".join(f"{vessel} ({action})" for vessel, action in held.items())
        judge = "judge with `spawnrun review`, or note it `--as thrown-out`"
        others = ids_in_short(ids - held.keys()).replace(",", "")
        alone = f"; the others are {others}" if others else ""
        raise VesselChangeError(f"to be looked at first: {named}; {judge}; nothing was noted{alone}")
    early = [one.outlook for one in items if _is_early(one)]
    outdated = [one for one in early if one.is_seen_ready]
    seen = [one for one in early if one.last is not None and not one.is_seen_ready]
    warnings = (
        ("ready in its last photo, which is weeks old", ids_in_short(one.vessel.id for one in outdated)),
        ("not ready yet", _named(one for one in seen if not one.is_only_forecast)),
        ("ready by forecast alone, no photo since", _named(one for one in seen if one.is_only_forecast)),
        ("no photo was read", ids_in_short(one.vessel.id for one in early if one.last is None)),
    )
    return [f"{what}: {named}; noted all the same" for what, named in warnings if named]


def suspects_waiting(farm: Farm, vessels: Sequence[Vessel]) -> tuple[str, ...]:
    """Those of some vessels, by id, on which something that may be mould waits for review; the farm is brought up to
    date.
    """
    ids = {one.id for one in vessels}
    items = list_today(farm, [one for one in bring_up_to_date(farm) if one.vessel.id in ids])
    return tuple(one.outlook.vessel.id for one in items if any(found.suspect for found in one.review))


@dataclass(frozen=True)
class StepCautions:
    """Vessels by id. held: to be looked at first, which holds the step back; early: not seen ready yet."""

    held: tuple[str, ...] = ()
    early: tuple[str, ...] = ()


def step_cautions_of(items: Sequence[TodayItem], step: Step | None = None) -> StepCautions:
    """The same from the items of today's list, for a page; nothing speaks against taking one out."""
    if step in ("thrown_out", "spent"):
        return StepCautions()
    return StepCautions(
        held=tuple(one.outlook.vessel.id for one in items if one.needs_look),
        early=tuple(one.outlook.vessel.id for one in items if not one.needs_look and _is_early(one)),
    )


def _is_early(item: TodayItem) -> bool:
    return item.fruiting is None and item.section != "ready"


def _named(outlooks: Iterable[Outlook]) -> str:
    """Vessels with their growth, such as "B001, B003 (20 % colonised)"."""
    alike: dict[str, list[str]] = {}
    for one in outlooks:
        alike.setdefault(_growth(one), []).append(one.vessel.id)
    return ", ".join(f"{ids_in_short(ids)} ({what})" for what, ids in alike.items())


def _growth(outlook: Outlook) -> str:
    if outlook.forecast.status == "colonised":
        return "colonised through, to rest"
    percent = 0.0 if outlook.last is None or outlook.last.percent is None else outlook.last.percent
    return f"{percent:.0f} % colonised"
