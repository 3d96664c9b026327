"""What became of vessels: lost at which stage and why, used up, fruited to the end, or running still."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from calibration import plain_name, species_name
from farm.fruiting import fruiting_since, list_harvests
from farm.outlook import Outlook
from farm.records import is_contamination, list_events, list_verdicts, source_id, species_key
from farm.records.models import TAKEN_OUT, Event, Vessel
from farm.store import Farm
from farm.study.trace import compare_rates, rate_interval

LossBy = Literal["source", "batch", "species", "strain", "substrate", "kind"]
#: lost: contaminated or thrown out; used: divided to start others; fruited: spent, or closed after a harvest; closed:
#: without a word of why.
Fate = Literal["lost", "used", "fruited", "closed", "running"]
FATES: tuple[Fate, ...] = ("lost", "used", "fruited", "closed", "running")
LossStage = Literal["never photographed", "colonising", "colonised", "fruiting"]
LOSS_STAGES: tuple[LossStage, ...] = ("never photographed", "colonising", "colonised", "fruiting")
NO_REASON = "no reason given"


@dataclass(frozen=True)
class VesselFate:
    """What became of a vessel. stage, reason: of a lost one, else None and ""; fresh_kg: picked from it."""

    vessel: Vessel
    fate: Fate
    stage: LossStage | None
    reason: str
    fresh_kg: float


@dataclass(frozen=True)
class LossGroup:
    """What became of the vessels of a group. stages, reasons: of the lost ones, the most frequent first.

    share, low, high: lost, 0-1, with Wilson's 95 % interval. verdict: beside the vessels of all other groups.
    """

    by: LossBy
    group: str
    n_vessels: int
    fates: dict[Fate, int]
    stages: dict[LossStage, int]
    reasons: dict[str, int]
    share: float
    low: float
    high: float
    verdict: str
    fresh_kg: float

    @property
    def n_lost(self) -> int:
        """How many were lost."""
        return self.fates.get("lost", 0)


def loss_groups(farm: Farm, outlooks: Sequence[Outlook], by: LossBy) -> list[LossGroup]:
    """The groups of all vessels of a farm, the worst first; vessels of no named group are left out."""
    groups: dict[str, list[VesselFate]] = {}
    for one in vessel_fates(farm, outlooks):
        if name := _group_of(farm, one.vessel, by):
            groups.setdefault(name, []).append(one)
    made = []
    for name, mine in groups.items():
        others = [one for other, found in groups.items() if other != name for one in found]
        made.append(group_fates(by, name, mine, others))
    return sorted(made, key=lambda one: (-one.low, -one.share, one.group))


def vessel_fates(farm: Farm, outlooks: Sequence[Outlook]) -> list[VesselFate]:
    """What became of each of some vessels, in their order."""
    ids = {one.vessel.id for one in outlooks}
    events: dict[str, list[Event]] = {}
    for event in list_events(farm, ids):
        if event.at <= farm.now:
            events.setdefault(event.vessel, []).append(event)
    picked: dict[str, float] = {}
    for harvest in list_harvests(farm, ids):
        picked[harvest.vessel] = picked.get(harvest.vessel, 0.0) + harvest.fresh_kg
    confirmed = {
        one.vessel: one.subject.replace("_", " ")
        for one in list_verdicts(farm)
        if one.undone_at is None and is_contamination(one)
    }
    since = fruiting_since(farm, ids)
    return [
        _fate(farm, one, events.get(one.vessel.id, ()), picked.get(one.vessel.id, 0.0), confirmed, since)
        for one in outlooks
    ]


def group_fates(by: LossBy, name: str, fates: Sequence[VesselFate], others: Collection[VesselFate] = ()) -> LossGroup:
    """One group of vessels."""
    counts = Counter(one.fate for one in fates)
    stages = Counter(one.stage for one in fates if one.stage is not None)
    low, high = rate_interval(counts["lost"], len(fates))
    return LossGroup(
        by=by,
        group=name,
        n_vessels=len(fates),
        fates={fate: counts[fate] for fate in FATES if counts[fate]},
        stages={stage: stages[stage] for stage in LOSS_STAGES if stages[stage]},
        reasons=dict(Counter(one.reason for one in fates if one.fate == "lost").most_common()),
        share=counts["lost"] / len(fates),
        low=low,
        high=high,
        verdict=compare_rates((low, high), [one.fate == "lost" for one in others]),
        fresh_kg=sum(one.fresh_kg for one in fates),
    )


def _fate(
    farm: Farm,
    outlook: Outlook,
    events: Iterable[Event],
    fresh_kg: float,
    confirmed: Mapping[str, str],
    since: Mapping[str, datetime],
) -> VesselFate:
    vessel = outlook.vessel
    if vessel.state == "running":
        return VesselFate(vessel, "running", None, "", fresh_kg)
    last = {event.event: event for event in events}
    thrown_out = last.get("thrown_out")
    # What has borne and is thrown out without a reason is done with, not lost.
    is_lost = vessel.state in TAKEN_OUT or (thrown_out is not None and (bool(thrown_out.why) or fresh_kg == 0))
    if is_lost:
        reason = thrown_out.why if thrown_out is not None and thrown_out.why else confirmed.get(vessel.id, NO_REASON)
        return VesselFate(vessel, "lost", _stage(farm, outlook, since.get(vessel.id)), reason, fresh_kg)
    if "spent" in last or fresh_kg > 0:
        return VesselFate(vessel, "fruited", None, "", fresh_kg)
    used = "spawned" in last or "transferred" in last
    return VesselFate(vessel, "used" if used else "closed", None, "", fresh_kg)


def _stage(farm: Farm, outlook: Outlook, fruiting_since: datetime | None) -> LossStage:
    """How far a vessel was when it was lost, by its events and its newest photo."""
    gone_at = outlook.vessel.closed_at
    if fruiting_since is not None and (gone_at is None or fruiting_since <= gone_at):
        return "fruiting"
    if outlook.last is None or outlook.last.percent is None:
        return "never photographed"
    return "colonised" if outlook.last.percent >= farm.settings.through_percent else "colonising"


def _group_of(farm: Farm, vessel: Vessel, by: LossBy) -> str:
    if by == "species":
        return species_name(species_key(farm, vessel.species))
    if by == "strain":
        return plain_name(vessel.species)
    return source_id(vessel) if by == "source" else str(getattr(vessel, by)).strip()
