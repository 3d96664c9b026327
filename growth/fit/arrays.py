"""Gather the series of a farm into padded arrays: phases of growth, and the batch and group of each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import Kind, Pace, Species, find_species, plain_name, substrate_class, usual_pace
from growth.data import Series, pace_factor
from growth.fit.hierarchy import Tree
from growth.fit.phases import Phase, Prepared
from growth.fit.pooled import Farm
from growth.fit.sampling import Readings

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True)
class Group:
    """One species on one class of substrate in one kind of vessel. pace: where it starts. unknown: a note, or empty."""

    kind: Kind
    species: str
    substrate: str
    pace: Pace
    unknown: str


@dataclass(frozen=True)
class Gathered:
    """All phases of a farm as arrays, sorted by number of readings so that padding stays small.

    ``vessel`` (P,): which series each phase belongs to; ``current``: True for its last phase; ``start_day`` of each
    phase; ``batches``: (group, batch name) of each batch.
    """

    farm: Farm
    vessel: Index
    current: NDArray[np.bool_]
    start_day: Array
    groups: tuple[Group, ...]
    batches: tuple[tuple[int, str], ...]


def gather(
    series: Sequence[Series], prepared: Sequence[Prepared], own: Mapping[str, Species] | None = None
) -> Gathered:
    """Arrays for :func:`growth.fit.farm_fit.fit_laws`; a vessel without readings gets one empty phase.

    own: a farm's own rows of the species table, by key.
    """
    rows: list[tuple[int, bool, Phase]] = []
    for number, one in enumerate(prepared):
        phases = one.phases or (_EMPTY,)
        rows.extend((number, phase is phases[-1], phase) for phase in phases)
    rows.sort(key=lambda row: len(row[2].days))
    groups, group_of = _groups(series, own)
    batches: dict[tuple[int, str], int] = {}
    batch_of = np.array([batches.setdefault(_batch_key(group_of[n], series[n], n), len(batches)) for n, _, _ in rows])
    tree = Tree(batch_of.astype(np.intp), np.array([group for group, _ in batches], dtype=np.intp), len(groups))
    shift = np.array([_temperature_shift(series[n], own) for n, _, _ in rows])
    shaken = np.array([phase.shaken for _, _, phase in rows])
    return Gathered(
        farm=Farm(padded([phase for _, _, phase in rows]), tree, shaken, shift),
        vessel=np.array([n for n, _, _ in rows], dtype=np.intp),
        current=np.array([last for _, last, _ in rows]),
        start_day=np.array([phase.start_day for _, _, phase in rows]),
        groups=groups,
        batches=tuple(batches),
    )


_NONE, _NEVER = np.zeros(0), np.zeros(0, dtype=bool)
_EMPTY = Phase(0.0, shaken=False, days=_NONE, share=_NONE, spread=_NONE, clipped=_NEVER, judged=_NEVER)


def _batch_key(group: int, one: Series, number: int) -> tuple[int, str]:
    """Key of a vessel's batch; a vessel without a batch is a batch of its own."""
    return (group, one.batch) if one.batch else (group, f"\0{number}")


def _groups(series: Sequence[Series], own: Mapping[str, Species] | None) -> tuple[tuple[Group, ...], list[int]]:
    seen: dict[tuple[str, str, str], int] = {}
    groups: list[Group] = []
    of = []
    for one in series:
        known = find_species(one.species, own)
        species = known.key if known else plain_name(one.species)
        substrate = substrate_class(one.substrate) or plain_name(one.substrate)
        key = (one.kind, species, substrate)
        if key not in seen:
            seen[key] = len(groups)
            pace, unknown = usual_pace(one.kind, one.species, one.substrate, own)
            groups.append(Group(one.kind, species, substrate, pace, unknown))
        of.append(seen[key])
    return tuple(groups), of


def _temperature_shift(one: Series, own: Mapping[str, Species] | None) -> list[float]:
    """Shift of a vessel's four parameters by temperature: lag and growth are stretched by the same factor."""
    return [-float(np.log(pace_factor(find_species(one.species, own), one.temperature_c))), 0.0, 0.0, 0.0]


def padded(phases: Sequence[Phase]) -> Readings:
    """Readings of phases as arrays, padded to the longest."""
    n = max((len(phase.days) for phase in phases), default=0)
    shape = (len(phases), max(n, 1))
    days, share, spread, weight = np.zeros(shape), np.zeros(shape), np.ones(shape), np.zeros(shape)
    clipped, judged = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    for row, phase in enumerate(phases):
        k = len(phase.days)
        days[row, :k], share[row, :k], spread[row, :k], weight[row, :k] = phase.days, phase.share, phase.spread, 1.0
        clipped[row, :k], judged[row, :k] = phase.clipped, phase.judged
    return Readings(days, share, spread, weight, clipped, judged)
