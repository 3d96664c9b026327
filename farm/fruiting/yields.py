"""What each vessel that fruits has yielded, in fresh weight and beside the dry weight of its substrate."""

from collections.abc import Sequence
from dataclasses import dataclass

from calibration import plain_name, substrate_class, usual_moisture
from farm.fruiting.life import FruitingLife, fruiting_lives, harvests_by_vessel
from farm.records import contents_of
from farm.records.models import Vessel
from farm.store import Farm, days_between


@dataclass(frozen=True)
class VesselYield:
    """What a vessel has yielded. flush_kg: fresh weight by number of the flush.

    dry_kg: of its substrate, None where it is not known. is_finished: the time of its usual flushes is over, or no
    vessel of its batch bears any more. What was lost early is not finished before the others could be: counted at
    once, it would make a batch that bears still look worse than it is. unit: a name that it shares with the vessels it
    was weighed together with, whose weights are no measurements of their own. is_heavy: more was picked than its wet
    substrate weighs.
    """

    vessel: Vessel
    flush_kg: dict[int, float]
    n_harvests: int
    dry_kg: float | None
    is_finished: bool
    unit: str
    is_heavy: bool = False

    def trial(self, *, by_vessel: bool) -> str:
        """What it counts with as one trial: its batch; by_vessel itself, or those that it was weighed together with."""
        return self.unit if by_vessel or not (self.vessel.batch or self.vessel.source) else self.vessel.trial

    @property
    def fresh_kg(self) -> float:
        """All that was picked from it."""
        return sum(self.flush_kg.values())

    @property
    def efficiency_percent(self) -> float | None:
        """Its biological efficiency so far; None where the dry weight is not known."""
        return None if self.dry_kg is None else biological_efficiency(self.fresh_kg, self.dry_kg)


def biological_efficiency(fresh_kg: float, dry_kg: float) -> float:
    """Fresh weight of mushrooms in percent of the dry weight of the substrate that bore them.

    As the term is used in published trials: Chang, Lau & Cho 1981, Eur. J. Appl. Microbiol. Biotechnol. 12: 58-62 (from
    memory, not looked up); the trial of PMC7407021, Table 2, reports it so. It may well be above 100, as mushrooms are
    nine tenths water. Raises ValueError for a dry weight that is not above 0.
    """
    if not dry_kg > 0:
        raise ValueError("a substrate has a dry weight above 0")
    return 100.0 * fresh_kg / dry_kg


def moisture_percent(farm: Farm, substrate: str) -> tuple[float, str]:
    """Water in percent of a substrate's wet weight, and where the number comes from.

    The farm's setting for a substrate of that name, or for its class, comes before the table.
    """
    own = {plain_name(name): value for name, value in farm.settings.moisture_percent.items()}
    for name in (plain_name(substrate), substrate_class(substrate) or "other"):
        if name in own:
            return own[name], "this farm's settings"
    return usual_moisture(substrate)


def dry_weight_kg(farm: Farm, vessel: Vessel) -> float | None:
    """Dry weight of what a vessel was filled with, kg; None where nothing is known of its wet weight."""
    wet = contents_of(farm, vessel)
    return wet * (1.0 - moisture_percent(farm, vessel.substrate)[0] / 100.0) if wet > 0 else None


def vessel_yields(farm: Farm, vessels: Sequence[Vessel]) -> list[VesselYield]:
    """What each of some vessels for fruiting has yielded, of those that fruit or have fruited, in their order."""
    lives = fruiting_lives(farm, [one for one in vessels if one.used_for == "fruiting"])
    together = {vessel: "; ".join(dict.fromkeys(one.together for one in mine if one.together))
                for vessel, mine in harvests_by_vessel(farm, lives).items()}  # fmt: skip
    bearing = {life.vessel.trial for life in lives.values() if not _bears_no_more(life)}
    return [
        _yield_of(farm, lives[one.id], together.get(one.id, ""), batch_bears=one.trial in bearing)
        for one in vessels
        if one.id in lives
    ]


def _bears_no_more(life: FruitingLife) -> bool:
    return life.vessel.state != "running" or life.stage == "past"


def _yield_of(farm: Farm, life: FruitingLife, together: str, *, batch_bears: bool) -> VesselYield:
    usual_end = life.days.to_first.value + life.days.flushes.value * life.days.between.value
    return VesselYield(
        vessel=life.vessel,
        flush_kg={one.number: one.fresh_kg for one in life.flushes},
        n_harvests=sum(one.n_harvests for one in life.flushes),
        dry_kg=dry_weight_kg(farm, life.vessel),
        is_finished=not batch_bears or days_between(life.since, farm.now) >= usual_end,
        unit=together or life.vessel.id,
        is_heavy=0 < contents_of(farm, life.vessel) < life.fresh_kg,
    )
