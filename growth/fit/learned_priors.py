"""Priors learned by a fit of a whole farm, so that some of its batches can be fitted again without the others."""

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
class LearnedPriors:
    """Parameters of each law (L) in each group (G) and batch (N), learned by a fit of the whole farm.

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


def learned_priors(
    series: Sequence[Series],
    gathered: Gathered,
    fits: Mapping[str, LawFit],
    rows: Mapping[str, Index],
    law_shares: Array,
    error_factor: float,
) -> LearnedPriors:
    """The priors that the fits of all laws to a farm have learned. rows: phases that each law was fitted to."""
    tree = gathered.farm.tree
    group_of_phase = tree.group_of_batch[tree.batch_of_vessel]
    followed = [np.isin(np.arange(tree.n_groups), group_of_phase[rows[law]]) for law in fits]
    pools = [fit.pooled for fit in fits.values()]
    return LearnedPriors(
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
    """Name of each batch that does not depend on the other series: its group, and its name or its only vessel."""
    groups = group_names(gathered)
    alone = "\0"
    return tuple(
        (*groups[group], alone + series[int(name[1:])].vessel if name.startswith(alone) else name)
        for group, name in gathered.batches
    )


@dataclass(frozen=True)
class MatchedPriors:
    """Learned priors matched to the batches (B) that are fitted again.

    group (B,): index of each batch's group in the learned priors; batch (B,): index of the batch, -1 for a new one.
    """

    learned: LearnedPriors
    group: Index
    batch: Index

    def rows_of_laws(self, batch_of_phase: Index) -> dict[str, Index]:
        """The phases that each law is fitted to."""
        followed = self.learned.followed[:, self.group[batch_of_phase]]
        rows = {law: np.flatnonzero(mine) for law, mine in zip(self.learned.laws, followed, strict=True)}
        return {law: some for law, some in rows.items() if len(some)}

    def law_shares(self, laws: Sequence[str], batch_of_phase: Index) -> Array:
        """Share (P, L) of the vessels of each phase's group that follow each law."""
        columns = [self.learned.laws.index(law) for law in laws]
        return self.learned.law_shares[self.group[batch_of_phase]][:, columns]

    def prior(self, law: str) -> Prior:
        """Prior of each batch, treated as a group of its own: from the rest of its group."""
        at, learned, new = self.learned.laws.index(law), self.learned, self.batch < 0
        return Prior(
            mean=np.where(new[:, None], learned.group_mean[at, self.group], learned.rest_mean[at, self.batch]),
            covariance=np.where(
                new[:, None, None], learned.group_covariance[at, self.group], learned.rest_covariance[at, self.batch]
            ),
            within=learned.within[at, self.group],
            between=learned.between[at, self.group],
            known=True,
        )

    def shake(self, law: str) -> Gaussian:
        """Mean and covariance of the effect of a shake on the parameters of a law."""
        at = self.learned.laws.index(law)
        return self.learned.shake_mean[at], self.learned.shake_covariance[at]


def match_priors(learned: LearnedPriors, series: Sequence[Series], gathered: Gathered) -> MatchedPriors | None:
    """Learned priors for these batches; None if the group of one of them is not among them."""
    group_at = {name: at for at, name in enumerate(learned.groups)}
    batch_at = {name: at for at, name in enumerate(learned.batches)}
    names = batch_names(series, gathered)
    if any(name[:-1] not in group_at for name in names):
        return None
    group = np.array([group_at[name[:-1]] for name in names], dtype=np.intp)
    return MatchedPriors(learned, group, np.array([batch_at.get(name, -1) for name in names], dtype=np.intp))
