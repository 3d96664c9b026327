"""How a plate's colony grows: radius by day and direction, radial rate, sectors that run ahead."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from calibration import vessel_kinds
from farm.records import face_file, list_readings
from farm.records.models import Vessel
from farm.store import Farm, days_between

if TYPE_CHECKING:
    from growth.fit import ColonyRate

#: A colony smaller than this is still about its plug, mm2; its centre is then no sure origin.
_SURE_ORIGIN_MM2 = 40.0


@dataclass(frozen=True)
class ColonyDay:
    """The largest colony in one photo, and how many there are. dish_percent: all colonies, of the dish, 0-100."""

    taken_at: datetime
    day: float
    n_colonies: int
    area_mm2: float
    dish_percent: float
    radius_mm: float


@dataclass(frozen=True)
class ColonyGrowth:
    """The largest colony of a plate over its photos, with its radial rate."""

    days: tuple[ColonyDay, ...]
    rate: "ColonyRate"


def colony_growth(farm: Farm, vessel: Vessel) -> ColonyGrowth | None:
    """How the colony of a plate grows, from its kept faces; None for other kinds and where no colony was seen."""
    if not vessel_kinds()[vessel.kind].is_dish:
        return None
    from growth.fit import rate_colony
    from vision.face import decode_face
    from vision.surface import measure_colonies

    origin: tuple[float, float] | None = None
    days, radii, rims = [], [], []
    for reading in list_readings(farm, vessel=vessel.id):
        source = face_file(farm, reading.photo_hash, reading.slot)
        if reading.status != "ok" or not reading.has_face or not source.is_file():
            continue
        try:
            face = decode_face(source.read_bytes())
        except (ValueError, OSError):  # `spawnrun check` names it
            continue
        colonies = measure_colonies(face, origin_mm=origin)
        if not colonies:
            continue
        largest = colonies[0]
        if origin is None and largest.area_mm2 >= _SURE_ORIGIN_MM2:
            origin = largest.origin_mm
        days.append(
            ColonyDay(
                taken_at=reading.taken_at,
                day=days_between(vessel.inoculated_at, reading.taken_at),
                n_colonies=len(colonies),
                area_mm2=largest.area_mm2,
                dish_percent=sum(colony.dish_percent for colony in colonies),
                radius_mm=largest.radius_mm,
            )
        )
        radii.append(largest.radii_mm)
        rims.append(largest.rim_mm)
    if not days:
        return None
    return ColonyGrowth(tuple(days), rate_colony([one.day for one in days], radii, rims))
