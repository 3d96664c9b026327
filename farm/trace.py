"""From one vessel up and down its lineage, who shares its source, batch and day, and how sources differ."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain

from farm.clock import on_farm_clock
from farm.records import TAKEN_OUT, Vessel
from farm.store import Farm
from farm.verdicts import is_contamination, list_verdicts
from farm.vessels import get_vessel, list_vessels

#: Share of times in which an interval of a rate is meant to hold.
RATE_SURE = 0.95


@dataclass(frozen=True)
class Kin:
    """A vessel in a trace. steps: generations below the traced one, negative above, 0 for siblings.

    shares: what a sibling shares, of source, batch and day.
    """

    vessel: Vessel
    contaminated: bool
    steps: int
    shares: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rate:
    """Contamination among the vessels of one source: counts, and the share with its 95 % interval (Wilson), 0-1.

    verdict: "more than the others", "fewer than the others", or "cannot be told apart".
    """

    source: str
    contaminated: int
    vessels: int
    share: float
    low: float
    high: float
    verdict: str


@dataclass(frozen=True)
class Trace:
    """A vessel's kin. origin: what the first of the line was inoculated from, if that is no vessel of the farm."""

    vessel: Vessel
    contaminated: bool
    above: tuple[Kin, ...]
    below: tuple[Kin, ...]
    siblings: tuple[Kin, ...]
    origin: str
    rates: tuple[Rate, ...]


def trace_vessel(farm: Farm, vessel_id: str) -> Trace:
    """The lineage of a vessel (nearest first), its siblings, and the rates of contamination by source.

    A vessel counts as contaminated once a person confirmed it.
    """
    vessel = get_vessel(farm, vessel_id)
    everyone = {one.id: one for one in list_vessels(farm)}
    bad = contaminated_ids(farm, everyone.values())
    above, origin = _above(vessel, everyone)
    below = _below(vessel, everyone)
    kin = {one.id for one, _ in chain(above, below)} | {vessel.id}
    siblings = [
        Kin(one, one.id in bad, 0, shares)
        for one in everyone.values()
        if one.id not in kin and (shares := _shares(farm, vessel, one))
    ]
    return Trace(
        vessel=vessel,
        contaminated=vessel.id in bad,
        above=tuple(Kin(one, one.id in bad, -steps) for one, steps in above),
        below=tuple(Kin(one, one.id in bad, steps) for one, steps in below),
        siblings=tuple(sorted(siblings, key=lambda one: (-len(one.shares), one.vessel.id))),
        origin=origin,
        rates=source_rates(everyone.values(), bad),
    )


def source_rates(vessels: Iterable[Vessel], contaminated: Iterable[str]) -> tuple[Rate, ...]:
    """The rate of each source that is named, worst first.

    A source is said to differ only if its interval and that of all other sources together do not overlap.
    """
    bad = set(contaminated)
    groups: dict[str, list[bool]] = {}
    for one in vessels:
        if one.source:
            groups.setdefault(one.source.upper(), []).append(one.id in bad)
    rates = []
    for source, outcomes in groups.items():
        others = [outcome for name, found in groups.items() if name != source for outcome in found]
        low, high = rate_interval(sum(outcomes), len(outcomes))
        share = sum(outcomes) / len(outcomes)
        verdict = compare_rates((low, high), others)
        rates.append(Rate(source, sum(outcomes), len(outcomes), share, low, high, verdict))
    return tuple(sorted(rates, key=lambda one: (-one.low, -one.share, one.source)))


def rate_interval(count: int, of: int) -> tuple[float, float]:
    """The 95 % interval of a share, 0-1: Wilson's score interval (Wilson 1927, J. Am. Stat. Assoc. 22: 209-212)."""
    from scipy.stats import binomtest

    interval = binomtest(count, of).proportion_ci(RATE_SURE, method="wilson")
    return float(interval.low), float(interval.high)


def compare_rates(interval: tuple[float, float], others: Sequence[bool]) -> str:
    """A rate's interval beside the outcomes of all others: it differs only if the intervals do not overlap."""
    if others:
        low, high = rate_interval(sum(others), len(others))
        if interval[0] > high:
            return "more than the others"
        if interval[1] < low:
            return "fewer than the others"
    return "cannot be told apart"


def contaminated_ids(farm: Farm, vessels: Iterable[Vessel]) -> set[str]:
    """Of some vessels those that a person confirmed to be contaminated."""
    said = {one.vessel for one in list_verdicts(farm) if one.undone_at is None and is_contamination(one)}
    return said | {one.id for one in vessels if one.state in TAKEN_OUT}


def _above(vessel: Vessel, everyone: dict[str, Vessel]) -> tuple[list[tuple[Vessel, int]], str]:
    """The vessels it comes from with their distance, and the source that is no vessel (or "" where a line has none)."""
    line: list[tuple[Vessel, int]] = []
    seen = {vessel.id}
    source = vessel.source
    while (parent := everyone.get(source.strip().upper())) is not None and parent.id not in seen:
        line.append((parent, len(line) + 1))
        seen.add(parent.id)
        source = parent.source
    return line, "" if source.strip().upper() in everyone else source


def _below(vessel: Vessel, everyone: dict[str, Vessel]) -> list[tuple[Vessel, int]]:
    """Everything inoculated from it, and from that, with the distance."""
    found: list[tuple[Vessel, int]] = []
    seen = {vessel.id}
    generation, steps = [vessel.id], 0
    while generation:
        steps += 1
        children = [
            one for one in everyone.values() if one.id not in seen and one.source.strip().upper() in set(generation)
        ]
        found += [(one, steps) for one in children]
        seen |= {one.id for one in children}
        generation = [one.id for one in children]
    return found


def _shares(farm: Farm, vessel: Vessel, other: Vessel) -> tuple[str, ...]:
    def day(one: Vessel) -> object:
        return on_farm_clock(one.inoculated_at, farm.zone).date()

    same_source = vessel.source != "" and vessel.source.upper() == other.source.upper()
    same_batch = vessel.batch != "" and vessel.batch == other.batch
    named = (("source", same_source), ("batch", same_batch), ("day", day(vessel) == day(other)))
    return tuple(name for name, shared in named if shared)
