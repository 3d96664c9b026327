"""Vessels that fruit: their harvests, flushes and yields, what became of the others, and what is to come."""

from farm.fruiting.harvests import (
    HARVEST_COLUMNS,
    harvest_cautions,
    import_harvests,
    list_harvests,
    record_harvest,
    take_back_harvest,
)
from farm.fruiting.stage import fruiting_since

__all__ = [
    "HARVEST_COLUMNS",
    "fruiting_since",
    "harvest_cautions",
    "import_harvests",
    "list_harvests",
    "record_harvest",
    "take_back_harvest",
]
