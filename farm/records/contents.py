"""How much grain or substrate a vessel holds."""

from calibration import Kind, vessel_kinds
from farm.records.models import Vessel
from farm.store import Farm


def contents_kg(farm: Farm, kind: Kind) -> float:
    """Wet weight in a full vessel of a kind, kg: the farm's setting, else usual for the kind; 0 for culture."""
    own = farm.settings.plan.contents_kg.get(kind)
    return float(vessel_kinds()[kind].contents_kg or 0.0) if own is None else own


def contents_of(farm: Farm, vessel: Vessel) -> float:
    """Wet weight of what a vessel holds, kg: as its record says, else as usual for its kind."""
    return contents_kg(farm, vessel.kind) if vessel.contents_kg is None else vessel.contents_kg
