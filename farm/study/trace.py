"""From one vessel up and down its lineage, who shares source, batch, day and shelf, and how such groups differ."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from itertools import chain

from farm.records import get_vessel, is_contamination, list_verdicts, list_vessels, source_id
from farm.records.models import TAKEN_OUT, Vessel
from farm.store import Farm, on_farm_clock

#: What vessels may share.
GROUPS = ("source", "batch", "day", "shelf")
CANNOT_TELL = "cannot be told apart"
#: Share of times in which an interval of a rate is meant to hold.
RATE_SURE = 0.95


@dataclass(frozen=True)
class Kin:
    """A vessel in a trace. steps: generations below the traced one, negative above, 0 for siblings.

    shares: what a sibling shares, of source, batch, day and shelf.
    """

    vessel: Vessel
    contaminated: bool
    steps: int
    shares: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rate:
    """Contamination among the vessels of one group: counts, and the share with its 95 % interval (Wilson), 0-1.

    what: what they share: source, batch, day or shelf; name: which one. verdict, beside all vessels of other groups:
    "more than the others", "fewer than the others", or "cannot be told apart".
    """

    what: str
    name: str
    contaminated: int
    vessels: int
    share: float
    low: float
    high: float
    verdict: str


@dataclass(frozen=True)
class Trace:
    """A vessel's lineage and siblings, and how often related vessels were contaminated.

    origin: what the oldest vessel of the lineage was inoculated from, if that is no vessel of the farm. rates: for
    every source. shared: for the vessels of its own source, batch, day and shelf, itself included.
    """

    vessel: Vessel
    contaminated: bool
    above: tuple[Kin, ...]
    below: tuple[Kin, ...]
    siblings: tuple[Kin, ...]
    origin: str
    rates: tuple[Rate, ...]
    shared: tuple[Rate, ...]


@dataclass(frozen=True)
class Kinship:
    """A vessel's lineage (nearest first) and siblings, as in Trace, without the rates, which take far longer."""

    vessel: Vessel
    contaminated: bool
    above: tuple[Kin, ...]
    below: tuple[Kin, ...]
    siblings: tuple[Kin, ...]
    origin: str


def kinship_of(farm: Farm, vessel_id: str) -> Kinship:
    """The lineage of a vessel and its siblings. Raises UnknownVesselError."""
    vessel = get_vessel(farm, vessel_id)
    everyone = {one.id: one for one in list_vessels(farm)}
    return _kinship(farm, vessel, everyone, contaminated_ids(farm, everyone.values()))


def trace_vessel(farm: Farm, vessel_id: str) -> Trace:
    """The lineage of a vessel (nearest first), its siblings, and rates of contamination.

    A vessel counts as contaminated once a person confirmed it.
    """
    vessel = get_vessel(farm, vessel_id)
    everyone = {one.id: one for one in list_vessels(farm)}
    bad = contaminated_ids(farm, everyone.values())
    kinship = _kinship(farm, vessel, everyone, bad)
    return Trace(
        **{one.name: getattr(kinship, one.name) for one in fields(kinship)},
        rates=group_rates(farm, "source", everyone.values(), bad),
        shared=tuple(
            rate
            for what in GROUPS
            for rate in group_rates(farm, what, everyone.values(), bad)
            if rate.name == _group(farm, what, vessel)
        ),
    )


def _kinship(farm: Farm, vessel: Vessel, everyone: dict[str, Vessel], bad: set[str]) -> Kinship:
    above, origin = _above(vessel, everyone)
    below = _below(vessel, everyone)
    kin = {one.id for one, _ in chain(above, below)} | {vessel.id}
    siblings = [
        Kin(one, one.id in bad, 0, shares)
        for one in everyone.values()
        if one.id not in kin and (shares := _shares(farm, vessel, one))
    ]
    return Kinship(
        vessel=vessel,
        contaminated=vessel.id in bad,
        above=tuple(Kin(one, one.id in bad, -steps) for one, steps in above),
        below=tuple(Kin(one, one.id in bad, steps) for one, steps in below),
        siblings=tuple(sorted(siblings, key=lambda one: (-len(one.shares), one.vessel.id))),
        origin=origin,
    )


def group_rates(farm: Farm, what: str, vessels: Iterable[Vessel], contaminated: Iterable[str]) -> tuple[Rate, ...]:
    """The rate of each source (or batch, day, shelf) that is named, worst first.

    A group is said to differ only if its interval and that of all other groups together do not overlap.
    """
    bad = set(contaminated)
    groups: dict[str, list[bool]] = {}
    for one in vessels:
        if name := _group(farm, what, one):
            groups.setdefault(name, []).append(one.id in bad)
    rates = []
    for group, outcomes in groups.items():
        others = [outcome for name, found in groups.items() if name != group for outcome in found]
        low, high = rate_interval(sum(outcomes), len(outcomes))
        share = sum(outcomes) / len(outcomes)
        verdict = compare_rates((low, high), others)
        rates.append(Rate(what, group, sum(outcomes), len(outcomes), share, low, high, verdict))
    return tuple(sorted(rates, key=lambda one: (-one.low, -one.share, one.name)))


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
    return CANNOT_TELL


def contaminated_ids(farm: Farm, vessels: Iterable[Vessel]) -> set[str]:
    """Of some vessels those that a person confirmed to be contaminated."""
    confirmed = {one.vessel for one in list_verdicts(farm) if one.undone_at is None and is_contamination(one)}
    return confirmed | {one.id for one in vessels if one.state in TAKEN_OUT}


def _above(vessel: Vessel, everyone: dict[str, Vessel]) -> tuple[list[tuple[Vessel, int]], str]:
    """The vessels it comes from with their distance, and the source that is no vessel (or "" where a line has none)."""
    line: list[tuple[Vessel, int]] = []
    seen, last = {vessel.id}, vessel
    while (parent := everyone.get(source_id(last))) is not None and parent.id not in seen:
        line.append((parent, len(line) + 1))
        seen.add(parent.id)
        last = parent
    return line, "" if source_id(last) in everyone else last.source


def _below(vessel: Vessel, everyone: dict[str, Vessel]) -> list[tuple[Vessel, int]]:
    """Everything inoculated from it, and from that, with the distance."""
    found: list[tuple[Vessel, int]] = []
    seen = {vessel.id}
    generation, steps = [vessel.id], 0
    while generation:
        steps += 1
        children = [one for one in everyone.values() if one.id not in seen and source_id(one) in generation]
        found += [(one, steps) for one in children]
        seen |= {one.id for one in children}
        generation = [one.id for one in children]
    return found


def _shares(farm: Farm, vessel: Vessel, other: Vessel) -> tuple[str, ...]:
    mine = {what: _group(farm, what, vessel) for what in GROUPS}
    return tuple(what for what in GROUPS if mine[what] and mine[what] == _group(farm, what, other))


def _group(farm: Farm, what: str, vessel: Vessel) -> str:
    """The source, batch, day or shelf of a vessel by name; "" where none is noted."""
    if what == "day":
        return on_farm_clock(vessel.inoculated_at, farm.zone).date().isoformat()
    name: str = {"source": vessel.source, "batch": vessel.batch, "shelf": vessel.shelf}[what]
    return name.strip().upper() if what == "source" else name.strip()
