"""Kinds of vessel: the step each leads to, its usual size, and where its label goes."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal, cast, get_args

from calibration.label import LabelSize

Kind = Literal["plate", "jar", "bag", "block", "bucket", "tube"]
LabelPlace = Literal["on_face", "below"]
KINDS: tuple[Kind, ...] = get_args(Kind)


@dataclass(frozen=True)
class VesselKind:
    """What is usual for one kind of vessel.

    ``face_width_mm`` and ``face_height_mm`` are the usual size of the face of substrate that a camera sees
    (for a plate both are the inner diameter); a vessel's own record overrides them.
    ``face_px_per_mm`` is the scale at which its face is rectified. ``round_walls``: the camera sees a cylinder from its
    side, whose edges turn away. ``bare_until_days``: days after inoculation before which no growth shows.
    """

    name: Kind
    next_step: str
    face_width_mm: float
    face_height_mm: float
    face_px_per_mm: float
    label_place: LabelPlace
    label_size: LabelSize
    round_walls: bool
    bare_until_days: float


@cache
def vessel_kinds() -> dict[Kind, VesselKind]:
    """All kinds by name, from ``kinds.toml``."""
    table = tomllib.loads((files("calibration") / "kinds.toml").read_text("utf-8"))
    return {cast(Kind, name): VesselKind(name=cast(Kind, name), **row) for name, row in table.items()}
