"""Yields side by side: by vessel, batch, strain, species, source, substrate or flush, with intervals."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from calibration import plain_name, species_name
from farm.fruiting import VesselYield, biological_efficiency, vessel_yields
from farm.records import ids_in_short, list_vessels, species_key
from farm.records.models import Vessel
from farm.store import Farm
from farm.study.averages import Average, compare_means, not_negative, unit_means
from farm.study.compare import FEW_BATCHES, FEW_VESSELS

YieldBy = Literal["vessel", "batch", "strain", "species", "source", "substrate", "flush"]


@dataclass(frozen=True)
class YieldGroup:
    """What the vessels of a group have yielded.

    n_vessels: that fruit or have fruited, n_finished of them with all that they will yield. flush_kg: fresh weight by
    number of the flush, of all. kg_each: fresh weight of a finished vessel, efficiency: its biological efficiency in
    percent: means over batches, or over vessels where there is one batch, with their 95 % intervals (Student's t).
    cautions: plain sentences.
    """

    by: YieldBy
    group: str
    n_vessels: int
    n_finished: int
    n_batches: int
    n_harvests: int
    fresh_kg: float
    flush_kg: dict[int, float]
    kg_each: Average | None
    efficiency: Average | None
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class _Part:
    """What counts of one vessel in a group: all of its flushes, or one."""

    of: VesselYield
    fresh_kg: float
    is_finished: bool


def yield_groups(farm: Farm, by: YieldBy, yields: Sequence[VesselYield] | None = None) -> list[YieldGroup]:
    """The groups of all vessels that fruit or have fruited, most fresh weight first; flushes in their order.

    By flush: each flush of the vessels that have picked it, or that are finished without it. Vessels of no named group
    are left out. yields: of all vessels; None: they are worked out.
    """
    groups: dict[str, list[_Part]] = {}
    yields = vessel_yields(farm, list_vessels(farm)) if yields is None else yields
    last = max((number for one in yields for number in one.flush_kg), default=0)
    for one in yields:
        parts = _flushes(one, last) if by == "flush" else {_group_of(farm, one.vessel, by): _whole(one)}
        for name, part in parts.items():
            if name:
                groups.setdefault(name, []).append(part)
    made = [_group(by, name, parts) for name, parts in groups.items()]
    return sorted(made, key=lambda one: (min(one.flush_kg, default=0) if by == "flush" else -one.fresh_kg, one.group))


def _whole(one: VesselYield) -> _Part:
    return _Part(one, one.fresh_kg, one.is_finished)


def _flushes(one: VesselYield, last: int) -> dict[str, _Part]:
    """Its flushes up to the farm's last, those that it never bore as nothing; one that may go on is not finished."""
    newest = max(one.flush_kg, default=0)
    return {
        f"flush {number}": _Part(one, one.flush_kg.get(number, 0.0), one.is_finished or number < newest)
        for number in range(1, last + 1)
        if number <= newest or one.is_finished
    }


def _group_of(farm: Farm, vessel: Vessel, by: YieldBy) -> str:
    if by == "vessel":
        return vessel.id
    if by == "species":
        return species_name(species_key(farm, vessel.species))
    if by == "strain":
        return plain_name(vessel.species)
    text = str(getattr(vessel, by)).strip()
    return text.upper() if by == "source" else text


def _group(by: YieldBy, name: str, parts: Sequence[_Part]) -> YieldGroup:
    finished = [one for one in parts if one.is_finished]
    batches = {one.of.vessel.trial for one in parts}
    flush_kg: dict[int, float] = {}
    for one in parts:
        shown = {int(name.split()[-1]): one.fresh_kg} if by == "flush" else one.of.flush_kg
        for number, kg in shown.items():
            flush_kg[number] = flush_kg.get(number, 0.0) + kg
    efficient = [
        (one.of, biological_efficiency(one.fresh_kg, one.of.dry_kg)) for one in finished if one.of.dry_kg is not None
    ]
    return YieldGroup(
        by=by,
        group=name,
        n_vessels=len(parts),
        n_finished=len(finished),
        n_batches=len(batches),
        n_harvests=sum(one.of.n_harvests for one in parts) if by != "flush" else sum(one.fresh_kg > 0 for one in parts),
        fresh_kg=sum(one.fresh_kg for one in parts),
        flush_kg=dict(sorted(flush_kg.items())),
        kg_each=_mean([(one.of, one.fresh_kg) for one in finished]),
        efficiency=_mean(efficient),
        cautions=tuple(_cautions(by, parts, finished)),
    )


def _mean(values: Sequence[tuple[VesselYield, float]]) -> Average | None:
    """The mean over batches, or over the vessels of the only one; the interval does not go below 0."""
    by_vessel = len({one.vessel.trial for one, _ in values}) < 2
    trials = unit_means((one.trial(by_vessel=by_vessel), value) for one, value in values)
    found = compare_means(trials, (), 1, ("", ""))
    return None if found is None else not_negative(found)


def _cautions(by: YieldBy, parts: Sequence[_Part], finished: Sequence[_Part]) -> Iterable[str]:
    if by == "vessel":
        if not finished:
            yield "still bears"
    else:
        n_batches = len({one.of.vessel.trial for one in finished})
        if not finished:
            yield "none is finished"
        elif by != "batch" and n_batches == 1:
            yield "one batch only: cannot be told from that batch's luck"
        elif by != "batch" and n_batches < FEW_BATCHES:
            yield f"only {n_batches} batches finished"
        if 0 < len(finished) < FEW_VESSELS:
            yield f"only {len(finished)} vessel{'s' * (len(finished) != 1)} finished"
    if heavy := ids_in_short({one.of.vessel.id for one in parts if one.of.is_heavy}):
        yield f"more than the wet substrate: {heavy}; is the unit right?"
    if any(one.of.unit != one.of.vessel.id for one in parts):
        yield "weighed together: equal shares"
    if usual := sorted({one.of.vessel.kind for one in parts if one.of.vessel.contents_kg is None}):
        yield f"contents not noted: the usual of a {' and a '.join(usual)}"
