"""Read the photos of a vessel one after the other, and find signs that need several days."""

from vision.days.kept import continue_series
from vision.days.series import BARE_FIRST_PERCENT, SeriesFace, read_series
from vision.days.signs import find_signs

__all__ = [
    "BARE_FIRST_PERCENT",
    "SeriesFace",
    "continue_series",
    "find_signs",
    "read_series",
]
