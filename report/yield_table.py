"""The harvests on the report: by batch and by flush, with biological efficiency, in the farm's units."""

from collections.abc import Callable
from dataclasses import dataclass

from farm.fruiting import vessel_yields
from farm.records import list_vessels
from farm.store import Farm, Units
from farm.study import Average, YieldBy, YieldGroup, yield_groups

_HEADINGS: dict[YieldBy, str] = {"batch": "Batch", "species": "Species", "flush": "Flush"}


@dataclass(frozen=True)
class YieldRow:
    """A row of a table of yields, as texts."""

    name: str
    vessels: str
    weight: str
    by_flush: str
    each: str
    efficiency: str
    cautions: str


@dataclass(frozen=True)
class YieldTable:
    """A table of yields. unit: of its weights."""

    heading: str
    unit: str
    rows: tuple[YieldRow, ...]


def yield_tables(farm: Farm) -> tuple[YieldTable, ...]:
    """The tables of a farm's harvests; () where nothing was picked yet."""
    yields = vessel_yields(farm, list_vessels(farm))
    if not any(one.fresh_kg > 0 for one in yields):
        return ()
    units, found = farm.units, {by: yield_groups(farm, by, yields) for by in _HEADINGS}
    return tuple(
        YieldTable(_HEADINGS[by], units.weights, tuple(_row(units, by, one) for one in groups))
        for by, groups in found.items()
        if groups
    )


def interval_words(average: Average | None, text: Callable[[float], str]) -> str:
    """A mean with its interval, such as "62 (48 to 77)"; "" for none."""
    if average is None:
        return ""
    if average.low is None or average.high is None:
        return text(average.mean)
    return f"{text(average.mean)} ({text(average.low)} to {text(average.high)})"


def _row(units: Units, by: YieldBy, one: YieldGroup) -> YieldRow:
    def number(kg: float) -> str:
        return units.weight(kg).split()[0]

    return YieldRow(
        name=one.group or "none",
        vessels=f"{one.n_finished} of {one.n_vessels}",
        weight=number(one.fresh_kg),
        by_flush="" if by == "flush" else " + ".join(map(number, one.flush_kg.values())),
        each=interval_words(one.kg_each, number),
        efficiency=interval_words(one.efficiency, "{:.0f}".format),
        cautions="; ".join(one.cautions),
    )
