"""Read all faces of a vessel together, and find signs that need several days."""

from vision.days.series import BARE_FIRST_PERCENT, SeriesFace, read_series
from vision.days.signs import find_signs

__all__ = [
    "BARE_FIRST_PERCENT",
    "SeriesFace",
    "find_signs",
    "read_series",
]
