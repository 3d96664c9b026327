"""Species, sources, batches or substrates side by side: pace, radial rate and contamination, each with an interval.

Vessels of a batch share their spawn, substrate, day and hands, so they are no independent trials of a species or a
source: where the groups are not batches, the batch means are what is averaged and tested.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, log
from typing import Literal

from calibration import KINDS, USES, Kind, Use, plain_name, species_name, vessel_kinds
from farm.fruiting import VesselYield, vessel_yields
from farm.outlook import Outlook
from farm.records import species_key
from farm.records.models import Vessel
from farm.store import Farm
from farm.study.averages import Average, compare_means, not_negative, unit_means
from farm.study.colonies import colony_growth
from farm.study.trace import compare_rates, contaminated_ids, rate_interval

By = Literal["species", "strain", "source", "batch", "substrate"]
#: Days and rates below this are raised to it, since they enter as logarithms.
_LEAST = 1e-3
#: With fewer vessels or batches, a difference may be chance.
FEW_VESSELS, FEW_BATCHES = 10, 3


@dataclass(frozen=True)
class Compared:
    """One group of one kind of vessel with one use: a bag of grain is not compared with a bag that will fruit.

    days: from inoculation to colonised through, forecast for the running ones (n_forecast of them). percent_per_day:
    the curve at its steepest. radial_mm_per_day: of plates. Vessels that are contaminated or stalled (n_stalled) are
    left out of these. efficiency: biological efficiency, percent, of the n_finished that have fruited to the end: an
    arithmetic mean, since a vessel may yield nothing. share, low, high: contaminated, 0-1, with Wilson's 95 % interval.
    cautions: plain sentences.
    """

    by: By
    group: str
    kind: Kind
    used_for: Use
    n_vessels: int
    n_batches: int
    n_forecast: int
    n_stalled: int
    days: Average | None
    percent_per_day: Average | None
    radial_mm_per_day: Average | None
    n_finished: int
    efficiency: Average | None
    n_contaminated: int
    share: float
    low: float
    high: float
    verdict: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class _Facts:
    vessel: Vessel
    unit: str
    contaminated: bool
    stalled: bool
    is_forecast: bool
    days: float | None
    percent_per_day: float | None
    radial_mm_per_day: float | None
    efficiency: float | None
    trial: str


def compare_groups(farm: Farm, outlooks: Sequence[Outlook], by: By) -> list[Compared]:
    """The groups of each kind and use, most vessels first; vessels that belong to no named group are left out."""
    bad = contaminated_ids(farm, [one.vessel for one in outlooks])
    yields = {one.vessel.id: one for one in vessel_yields(farm, [one.vessel for one in outlooks]) if one.is_finished}
    groups: dict[tuple[Kind, Use, str], list[_Facts]] = {}
    for outlook in outlooks:
        if name := _group_of(farm, outlook.vessel, by):
            one = _facts(farm, outlook, by, yields.get(outlook.vessel.id), contaminated=outlook.vessel.id in bad)
            groups.setdefault((outlook.vessel.kind, outlook.vessel.used_for, name), []).append(one)
    made = []
    for key, facts in groups.items():
        others = [list(found) for other, found in groups.items() if other[:2] == key[:2] and other != key]
        made.append(_compared(by, key, facts, others))
    return sorted(made, key=lambda one: (KINDS.index(one.kind), USES.index(one.used_for), -one.n_vessels, one.group))


def _group_of(farm: Farm, vessel: Vessel, by: By) -> str:
    if by == "species":
        return species_name(species_key(farm, vessel.species))
    if by == "strain":
        return plain_name(vessel.species)
    value = str(getattr(vessel, by)).strip()
    return value.upper() if by == "source" else value


def _facts(farm: Farm, outlook: Outlook, by: By, yielded: VesselYield | None, *, contaminated: bool) -> _Facts:
    """yielded: of a vessel that has fruited to the end."""
    vessel, forecast = outlook.vessel, outlook.forecast
    stalled = forecast.status == "stalled"
    counts = not contaminated and not stalled and outlook.last is not None
    return _Facts(
        vessel=vessel,
        unit=vessel.id if by == "batch" else vessel.trial,
        contaminated=contaminated,
        stalled=stalled,
        is_forecast=counts and forecast.status not in ("colonised", "ready"),
        days=forecast.through_median if counts else None,
        percent_per_day=_steepest(outlook) if counts else None,
        radial_mm_per_day=_radial(farm, vessel) if counts and vessel_kinds()[vessel.kind].is_dish else None,
        efficiency=None if yielded is None else yielded.efficiency_percent,
        trial="" if yielded is None else yielded.trial(by_vessel=by == "batch"),
    )


def _steepest(outlook: Outlook) -> float | None:
    curve = outlook.forecast.curve
    if curve is None or len(curve.days) < 2:
        return None
    steps = zip(curve.days, curve.days[1:], curve.median, curve.median[1:], strict=False)
    return max((after - before) / (right - left) for left, right, before, after in steps)


def _radial(farm: Farm, vessel: Vessel) -> float | None:
    from growth.fit import RadialRate

    grown = colony_growth(farm, vessel)
    whole = None if grown is None else grown.rate.whole
    return whole.mm_per_day if isinstance(whole, RadialRate) else None


def _compared(
    by: By, key: tuple[Kind, Use, str], facts: Sequence[_Facts], others: Sequence[Sequence[_Facts]]
) -> Compared:
    """One group. key: its kind, use and name; others: the groups of its kind and use."""
    rest = [one for found in others for one in found]

    def average(of: str, words: tuple[str, str]) -> Average | None:
        found = compare_means(_logs(_units(facts, of)), _logs(_units(rest, of)), len(others) + 1, words)
        return None if found is None else _unlogged(found)

    efficient, others_efficient = (
        unit_means((one.trial, one.efficiency) for one in some if one.efficiency is not None) for some in (facts, rest)
    )
    words = ("less than the others", "more than the others")
    efficiency = compare_means(efficient, others_efficient, len(others) + 1, words)
    bad = sum(one.contaminated for one in facts)
    low, high = rate_interval(bad, len(facts))
    batches = {one.vessel.trial for one in facts}
    return Compared(
        by=by,
        group=key[2],
        kind=key[0],
        used_for=key[1],
        n_vessels=len(facts),
        n_batches=len(batches),
        n_forecast=sum(one.is_forecast for one in facts),
        n_stalled=sum(one.stalled for one in facts),
        days=average("days", ("faster than the others", "slower than the others")),
        percent_per_day=average("percent_per_day", ("slower than the others", "faster than the others")),
        radial_mm_per_day=average("radial_mm_per_day", ("slower than the others", "faster than the others")),
        n_finished=sum(one.efficiency is not None for one in facts),
        efficiency=None if efficiency is None else not_negative(efficiency),
        n_contaminated=bad,
        share=bad / len(facts),
        low=low,
        high=high,
        verdict=compare_rates((low, high), [one.contaminated for one in rest]),
        cautions=tuple(_cautions(by, facts, len(batches))),
    )


def _units(facts: Iterable[_Facts], of: str) -> list[float]:
    """Means by batch (or by vessel) of what is known."""
    return unit_means((one.unit, value) for one in facts if (value := getattr(one, of)) is not None)


def _logs(values: Iterable[float]) -> list[float]:
    return [log(max(value, _LEAST)) for value in values]


def _unlogged(one: Average) -> Average:
    low, high = (None if end is None else exp(end) for end in (one.low, one.high))
    return Average(exp(one.mean), low, high, one.units, one.verdict)


def _cautions(by: By, facts: Sequence[_Facts], n_batches: int) -> Iterable[str]:
    if by != "batch" and n_batches == 1:
        yield "one batch only: cannot be told from that batch's luck"
    elif by != "batch" and n_batches < FEW_BATCHES:
        yield f"only {n_batches} batches"
    finished = [one for one in facts if one.efficiency is not None]
    if 0 < len(finished) < min(FEW_VESSELS, len(facts)):
        yield f"yield of only {len(finished)} vessel{'s' * (len(finished) != 1)}"
    if len(facts) < FEW_VESSELS:
        yield f"only {len(facts)} vessel{'s' * (len(facts) != 1)}"
    if by != "substrate" and len({one.vessel.substrate for one in facts}) > 1:
        yield "on several substrates"
    if by not in ("species", "strain", "substrate") and len({one.vessel.species for one in facts}) > 1:
        yield "several species"
