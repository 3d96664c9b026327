"""A vessel's lineage as a tree: from what the line began with, down to all that was inoculated from it."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from farm.records import list_vessels, source_id
from farm.records.models import Vessel
from farm.store import Farm
from farm.study.trace import Kin, trace_vessel


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
    from_source = Counter(source_id(one) for one in list_vessels(farm))
    branch = replace(_with_children(trace.vessel, trace.contaminated, trace.below), asked=True)
    for kin in trace.above:
        others = from_source[kin.vessel.id] - 1
        branch = Branch(kin.vessel.id, kin.vessel, (branch,), kin.contaminated, others=others)
    if trace.origin:
        others = from_source[source_id(trace.above[-1].vessel if trace.above else trace.vessel)] - 1
        branch = Branch(trace.origin, None, (branch,), others=others)
    return branch


def _with_children(vessel: Vessel, contaminated: bool, below: Sequence[Kin]) -> Branch:
    """The branch of a vessel, with everything below it that was inoculated from it."""
    children = [kin for kin in below if source_id(kin.vessel) == vessel.id]
    return Branch(
        vessel.id,
        vessel,
        tuple(_with_children(kin.vessel, kin.contaminated, below) for kin in children),
        contaminated,
    )
