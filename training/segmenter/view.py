"""Faces of a batch as training changes them: their light, what is inside, and their truth."""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, TypeVar

import torch
from torch import Tensor

from training.segmenter.fields import Draw

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    Many = TypeVar("Many", bound=DataclassInstance)

#: Order of the planes of truth.
COLONISED, CONTAMINATED, COLOURED, VEILED, COVERED = range(5)
#: Logarithm of light 1.0 on the scale of the planes, which have the usual light at 0.
WHITE = 1.5


@dataclass(frozen=True, eq=False)
class View:
    """Faces, or parts of them, of a batch.

    logs (N, 3, h, w): logarithm of light, 0 outside; detail (N, 1, h, w): contrast finer than a pixel; within
    (N, 1, h, w): share of the pixel inside the face; truth (N, 5, h, w): shares; place (N, h, w, 2): column and row in
    the face, -1 to 1 from edge to edge. is_coarse: whether this is the thinned copy of whole faces, from which facts
    about the whole are taken.
    """

    logs: Tensor
    detail: Tensor
    within: Tensor
    truth: Tensor
    place: Tensor
    is_coarse: bool = False

    @property
    def size(self) -> tuple[int, int, int]:
        """Number of faces, height, width."""
        count, _, height, width = self.within.shape
        return count, height, width


def rows_of(many: "Many", at: Tensor) -> "Many":
    """The faces of numbers ``at`` (n,) of a dataclass whose tensors have the face as first dimension."""
    tensors = {one.name: getattr(many, one.name) for one in fields(many)}
    return replace(many, **{name: value[at] for name, value in tensors.items() if isinstance(value, Tensor)})


def changed_where(where: Tensor, view: View, change: Callable[[View, Tensor], View]) -> View:
    """The view with those faces changed for which ``where`` (N,) is true; the others cost no time.

    change: is given a view of these faces alone, and their numbers (n,).
    """
    at = where.nonzero()[:, 0]
    if not len(at):
        return view
    made = change(rows_of(view, at), at)
    names = ("logs", "detail", "within", "truth")
    return replace(view, **{name: getattr(view, name).index_copy(0, at, getattr(made, name)) for name in names})


def away_from_a_point(draw: Draw, view: View) -> Tensor:
    """Distance of each pixel from a random pixel of the face, (N, 1, h, w), px."""
    n, height, width = view.size
    seen = (view.within > 0.9).flatten(1).float()
    at = torch.multinomial(seen + 1e-6, 1, generator=draw.generator)
    rows = torch.arange(height, device=draw.device).view(1, 1, -1, 1)
    columns = torch.arange(width, device=draw.device).view(1, 1, 1, -1)
    row, column = (at // width).view(n, 1, 1, 1), (at % width).view(n, 1, 1, 1)
    return torch.hypot((rows - row).float().expand(-1, -1, -1, width), (columns - column).float())
