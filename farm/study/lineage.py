"""A vessel's lineage as a tree: from what the line began with, down to all that was inoculated from it."""

from collections.abc import Mapping
from dataclasses import dataclass

from farm.records import list_vessels
from farm.records.models import Vessel
from farm.store import Farm
from farm.study.trace import contaminated_ids, trace_vessel


@dataclass(frozen=True)
class Branch:
    """A vessel (or, with vessel None, a culture that is none) and what was inoculated from it.

    asked: the vessel whose lineage this is. others: further vessels inoculated from it that are not in this lineage.
    """

    name: str
    vessel: Vessel | None
    children: tuple["Branch", ...]
    contaminated: bool = False
    asked: bool = False
    others: int = 0


def lineage_tree(farm: Farm, vessel_id: str) -> Branch:
    """The lineage of a vessel: the line above it without what branches off, and everything below it.

    Raises UnknownVesselError.
    """
    trace = trace_vessel(farm, vessel_id)
    vessels = list_vessels(farm)
    bad = contaminated_ids(farm, vessels)
    from_source: dict[str, list[Vessel]] = {}
    for one in vessels:
        from_source.setdefault(one.source.strip().upper(), []).append(one)
    branch = _below(trace.vessel, from_source, bad, frozenset())
    branch = Branch(branch.name, branch.vessel, branch.children, branch.contaminated, asked=True)
    for kin in trace.above:
        others = len(from_source.get(kin.vessel.id, ())) - 1
        branch = Branch(kin.vessel.id, kin.vessel, (branch,), kin.contaminated, others=others)
    if trace.origin:
        others = len(from_source.get(trace.origin.strip().upper(), ())) - 1
        branch = Branch(trace.origin, None, (branch,), others=others)
    return branch


def _below(vessel: Vessel, from_source: Mapping[str, list[Vessel]], bad: set[str], seen: frozenset[str]) -> Branch:
    """Everything from a vessel on; a vessel that would come from itself is not followed further."""
    seen = seen | {vessel.id}
    children = tuple(
        _below(one, from_source, bad, seen) for one in from_source.get(vessel.id, ()) if one.id not in seen
    )
    return Branch(vessel.id, vessel, children, vessel.id in bad)
