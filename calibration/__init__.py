"""Known facts as data with their sources: label geometry, vessel kinds, species and substrates, colours."""

from calibration.kinds import KINDS, Kind, LabelPlace, VesselKind, vessel_kinds
from calibration.label import (
    CODE_MODULES,
    LABELS,
    VESSEL_ID_MAX_LENGTH,
    VESSEL_ID_PATTERN,
    LabelGeometry,
    LabelSize,
    Patch,
)

__all__ = [
    "CODE_MODULES",
    "KINDS",
    "LABELS",
    "VESSEL_ID_MAX_LENGTH",
    "VESSEL_ID_PATTERN",
    "Kind",
    "LabelGeometry",
    "LabelPlace",
    "LabelSize",
    "Patch",
    "VesselKind",
    "vessel_kinds",
]
