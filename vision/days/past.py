"""What a vessel's next photo has to know of the ones before it: small, so that a day costs the same at any age."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.days.monotone_growth import Odds, compared_size
from vision.records import Face
from vision.surface import Baseline

if TYPE_CHECKING:
    from vision.surface import SuspectPatch

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class FirstDay:
    """The vessel's first photo, at the scale at which days are compared.

    shape: rows and columns of its face. inside: surface without the label. lab: (h, w, 3) CIELAB, rounded, 0
    elsewhere. patches: masks of its suspects, each with its area in cm2.
    """

    days: float
    labelled: bool
    shape: tuple[int, int]
    inside: Mask
    lab: NDArray[np.int8]
    patches: tuple[tuple[Mask, float], ...]


@dataclass(frozen=True, eq=False)
class Past:
    """The photos of a vessel so far.

    n_read: readable photos. has_mates: whether bare faces of its batch were given. outlines: those of the last photos,
    compared scale. shape: of the faces that ``outlines`` and ``odds`` belong to. phase, odds: log odds of colonised
    after the last photo, and the phase that they belong to.
    """

    has_mates: bool = False
    n_read: int = 0
    baseline: Baseline | None = None
    first: FirstDay | None = None
    shape: tuple[int, int] | None = None
    outlines: tuple[Mask, ...] = ()
    phase: int = 0
    odds: Odds | None = None

    def same_frame(self, face: Face) -> bool:
        """Whether a point of the vessel has the same pixel in this face as in those before."""
        return face.labelled and self.shape == face.rgb.shape[:2]


def at_compared_scale(mask: Mask, px_per_mm: float) -> Mask:
    """A mask of a face at the scale at which days are compared."""
    size = compared_size(mask.shape, px_per_mm)
    return np.asarray(cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5)


def old_patches(suspects: "tuple[SuspectPatch, ...]", px_per_mm: float) -> tuple[tuple[Mask, float], ...]:
    """Masks and areas of suspects, to compare later ones with."""
    return tuple((at_compared_scale(one.mask, px_per_mm), one.area_cm2) for one in suspects)
