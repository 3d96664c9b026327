"""The harvests that a plan expects, as they are printed."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from calibration import species_name
from cli.options import Format
from cli.render import Column, Group, Record, day_text, echo, print_groups
from farm.plan import LEAST_FINISHED, Plan
from farm.store import Units
from report import FOOD_CAUTION, SPORE_CAUTION

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


def print_harvests(records: "Sequence[DataclassInstance]", made: Plan, units: Units) -> None:
    """The weights to be expected, as records of the plan's lines; and of which species none can be told."""
    print_groups([Group("Harvests to be expected, of each week alone", records)], _harvest_columns(units), Format.table)
    if made.no_weight:
        named = ", ".join(map(species_name, made.no_weight))
        echo(
            f"\nNo weight is expected of {named}: it is learned from your own harvests, once {LEAST_FINISHED} vessels"
            " of a species have fruited to the end"
        )
    if made.few_batches:
        named = ", ".join(map(species_name, made.few_batches))
        echo(f"\nLearned from few batches, and likely to be farther off than low and high say: {named}")
    if records:
        echo(f"\n{FOOD_CAUTION}\n{SPORE_CAUTION}")


def _harvest_columns(units: Units) -> tuple[Column, ...]:
    def weight(name: str) -> Callable[[Record], str]:
        return lambda one: units.weight(one[name]).split()[0]

    return (
        Column("week from", lambda one: day_text(one["date"])),
        Column("species", lambda one: species_name(one["species"])),
        Column("what", lambda one: f"{one['what']} ({units.weights})"),
        *(Column(name, weight(name), right=True) for name in ("low", "median", "high")),
    )
