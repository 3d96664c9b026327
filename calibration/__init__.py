"""Known facts as data with their sources: label geometry, vessel kinds, species and substrates, colours."""

from calibration.contamination import (
    ColourMeaning,
    ScoreBand,
    ScoreTable,
    ThresholdRow,
    colour_meanings,
    own_colours,
    suspect_scores,
)
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
from calibration.species import (
    Pace,
    Sourced,
    Species,
    find_species,
    generic_pace,
    plain_name,
    species_table,
    substrate_class,
    usual_pace,
)

__all__ = [
    "CODE_MODULES",
    "KINDS",
    "LABELS",
    "VESSEL_ID_MAX_LENGTH",
    "VESSEL_ID_PATTERN",
    "ColourMeaning",
    "Kind",
    "LabelGeometry",
    "LabelPlace",
    "LabelSize",
    "Pace",
    "Patch",
    "ScoreBand",
    "ScoreTable",
    "Sourced",
    "Species",
    "ThresholdRow",
    "VesselKind",
    "colour_meanings",
    "find_species",
    "generic_pace",
    "own_colours",
    "plain_name",
    "species_table",
    "substrate_class",
    "suspect_scores",
    "usual_pace",
    "vessel_kinds",
]
