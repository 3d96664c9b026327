"""Kinds of vessel: what each is usually for, its usual size and contents, where its label goes, how it grows.

All facts of a kind are in ``kinds.toml``; a new kind is a new table there.
"""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

from calibration.label import LabelSize

LabelPlace = Literal["on_face", "below"]
Use = Literal["culture", "spawn", "fruiting"]
#: Source of the numbers in the table.
KINDS_SOURCE = "common practice, no source"


def _table() -> dict[str, dict[str, Any]]:
    return tomllib.loads((files("calibration") / "kinds.toml").read_text("utf-8"))


KINDS: tuple[str, ...] = tuple(_table())
if TYPE_CHECKING:
    Kind = str
else:
    Kind = Literal[KINDS]  # so that a library that checks handed-in tables refuses other names


@dataclass(frozen=True)
class VesselKind:
    """What is usual for one kind of vessel.

    - ``use``: what it is for where nothing else tells: culture for grain, spawn for substrate, or fruiting.
      ``use_varies``: growers use it for several of these.
    - ``face_width_mm``, ``face_height_mm``: usual size of the face of substrate that a camera sees (of a dish both are
      the inner diameter); a vessel's own record overrides them. ``face_px_per_mm``: scale of its rectified face.
    - ``is_dish``: round and seen from above. ``round_walls``: a cylinder seen from its side, whose edges turn away.
    - ``label_place``, ``label_size``: where its label goes, and which.
    - ``contents_kg``: wet weight of grain or substrate in a full vessel, None for culture. ``grain_vessels``: vessels
      of grain that one vessel of culture inoculates, else None.
    - ``bare_until_days``: days after inoculation before which no growth shows. ``lag_days``, ``through_days``: to the
      front moving and to 99 % of the visible face, for a species or substrate that is not in the species table.
      ``last_tenth``: days from 90 to 99 %, as a part of those from 30 to 90 %.
    - ``unrecorded_shakes``: share of vessels that are shaken without an event; 0 where none ever is.
    - ``stalled_part_cm2``, ``stopped_front_mm``: smallest bare part and shortest stopped front that count as a sign of
      contamination.
    """

    name: Kind
    use: Use
    face_width_mm: float
    face_height_mm: float
    face_px_per_mm: float
    label_place: LabelPlace
    label_size: LabelSize
    is_dish: bool
    round_walls: bool
    bare_until_days: float
    lag_days: float
    through_days: float
    last_tenth: float
    stalled_part_cm2: float
    stopped_front_mm: float
    contents_kg: float | None = None
    grain_vessels: float | None = None
    unrecorded_shakes: float = 0.0
    use_varies: bool = False


@cache
def vessel_kinds() -> dict[Kind, VesselKind]:
    """All kinds by name, from ``kinds.toml``."""
    return {name: VesselKind(name=name, **row) for name, row in _table().items()}


def kinds_for(use: Use) -> tuple[Kind, ...]:
    """Names of the kinds that are usually for one use, in the order of the table."""
    return tuple(name for name, kind in vessel_kinds().items() if kind.use == use)
