"""What a fit of a whole farm has taught, so that some of its batches can be fitted again without the others."""

import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from growth.data import Series
from growth.fit.arrays import Gathered
from growth.fit.hierarchy import Prior
from growth.fit.pooled import LawFit
from growth.fit.sampling import Gaussian

Array = NDArray[np.floating[Any]]
Index = NDArray[np.intp]

_NAMES = ("groups", "batches", "laws")


@dataclass(frozen=True)
class Taught:
    """Numbers of each law (L) in each group (G) and batch (N) that a fit has learned from all of them.

    groups: kind, species and substrate; batches: these and a name. followed (L, G): whether a law is fitted there;
    law_shares (G, L): of the vessels that follow each. error_factor: of the spread of readings that bear no bounds.
    group_*: of each group's mean; rest_*: of the same without what the batch itself says (hierarchy.Pool).
    """

    groups: tuple[tuple[str, ...], ...]
    batches: tuple[tuple[str, ...], ...]
    laws: tuple[str, ...]
    followed: NDArray[np.bool_]
    law_shares: Array
    error_factor: Array
    group_mean: Array
    group_covariance: Array
    rest_mean: Array
    rest_covariance: Array
    within: Array
    between: Array
    shake_mean: Array
    shake_covariance: Array

    def to_bytes(self) -> bytes:
        """As NumPy keeps arrays (npz)."""
        kept = io.BytesIO()
        facts = {one.name: getattr(self, one.name) for one in fields(self)}
        arrays = {name: np.array(json.dumps(fact)) if name in _NAMES else fact for name, fact in facts.items()}
        np.savez(kept, allow_pickle=False, **arrays)
        return kept.getvalue()

    @classmethod
    def from_bytes(cls, kept: bytes) -> Self:
        """What ``to_bytes`` made."""
        with np.load(io.BytesIO(kept), allow_pickle=False) as read:
            groups, batches, laws = (json.loads(str(read[name])) for name in _NAMES)
            others = {name: read[name] for name in read.files if name not in _NAMES}
        return cls(tuple(map(tuple, groups)), tuple(map(tuple, batches)), tuple(laws), **others)


def taught_by(
    series: Sequence[Series],
    gathered: Gathered,
    fits: Mapping[str, LawFit],
    rows: Mapping[str, Index],
    law_shares: Array,
    error_factor: float,
) -> Taught:
    """What the fits of all laws to a farm have learned; rows: the phases that each law was fitted to."""
    tree = gathered.farm.tree
    group_of_phase = tree.group_of_batch[tree.batch_of_vessel]
    followed = [np.isin(np.arange(tree.n_groups), group_of_phase[rows[law]]) for law in fits]
    pools = [fit.pooled for fit in fits.values()]
    return Taught(
        groups=tuple(group_names(gathered)),
        batches=batch_names(series, gathered),
        laws=tuple(fits),
        followed=np.array(followed),
        law_shares=law_shares,
        error_factor=np.array(error_factor),
        group_mean=np.array([one.group_mean for one in pools]),
        group_covariance=np.array([one.group_covariance for one in pools]),
        rest_mean=np.array([one.rest_mean for one in pools]),
        rest_covariance=np.array([one.rest_covariance for one in pools]),
        within=np.array([one.within for one in pools]),
        between=np.array([one.between for one in pools]),
        shake_mean=np.array([fit.shake[0] for fit in fits.values()]),
        shake_covariance=np.array([fit.shake[1] for fit in fits.values()]),
    )


def group_names(gathered: Gathered) -> list[tuple[str, ...]]:
    """Kind, species and substrate of each group."""
    return [(one.kind, one.species, one.substrate) for one in gathered.groups]


def batch_names(series: Sequence[Series], gathered: Gathered) -> tuple[tuple[str, ...], ...]:
    """What each batch is known by, whichever other series are there: its group, and its name or only vessel."""
    groups = group_names(gathered)
    alone = "\0"
    return tuple(
        (*groups[group], alone + series[int(name[1:])].vessel if name.startswith(alone) else name)
        for group, name in gathered.batches
    )


@dataclass(frozen=True)
class Known:
    """What was taught, laid out for the batches (B) that are fitted again.

    group (B,): place of each batch's group in what was taught; batch (B,): its own, -1 where it is new.
    """

    taught: Taught
    group: Index
    batch: Index

    def rows_of_laws(self, batch_of_phase: Index) -> dict[str, Index]:
        """The phases that each law is fitted to."""
        followed = self.taught.followed[:, self.group[batch_of_phase]]
        rows = {law: np.flatnonzero(mine) for law, mine in zip(self.taught.laws, followed, strict=True)}
        return {law: some for law, some in rows.items() if len(some)}

    def law_shares(self, laws: Sequence[str], batch_of_phase: Index) -> Array:
        """Share (P, L) of the vessels of each phase's group that follow each law."""
        columns = [self.taught.laws.index(law) for law in laws]
        return self.taught.law_shares[self.group[batch_of_phase]][:, columns]

    def prior(self, law: str) -> Prior:
        """Of each batch, taken for a group of its own: what the rest of its group says."""
        at, taught, new = self.taught.laws.index(law), self.taught, self.batch < 0
        return Prior(
            mean=np.where(new[:, None], taught.group_mean[at, self.group], taught.rest_mean[at, self.batch]),
            covariance=np.where(
                new[:, None, None], taught.group_covariance[at, self.group], taught.rest_covariance[at, self.batch]
            ),
            within=taught.within[at, self.group],
            between=taught.between[at, self.group],
            known=True,
        )

    def shake(self, law: str) -> Gaussian:
        """What a shake does to the numbers of a law."""
        at = self.taught.laws.index(law)
        return self.taught.shake_mean[at], self.taught.shake_covariance[at]


def known_of(taught: Taught, series: Sequence[Series], gathered: Gathered) -> Known | None:
    """What was taught about these batches; None if it was nothing of the group of one of them."""
    group_at = {name: at for at, name in enumerate(taught.groups)}
    batch_at = {name: at for at, name in enumerate(taught.batches)}
    names = batch_names(series, gathered)
    if any(name[:-1] not in group_at for name in names):
        return None
    group = np.array([group_at[name[:-1]] for name in names], dtype=np.intp)
    return Known(taught, group, np.array([batch_at.get(name, -1) for name in names], dtype=np.intp))
