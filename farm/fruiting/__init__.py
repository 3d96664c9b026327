"""Vessels that fruit: their harvests, flushes and yields, what became of the others, and what is to come."""

from farm.fruiting.flushes import Flush, flushes_of
from farm.fruiting.harvest_slips import harvest_slips
from farm.fruiting.harvest_table import HARVEST_COLUMNS, import_harvests, take_back_table
from farm.fruiting.harvests import (
    harvest_cautions,
    list_harvests,
    newest_harvests,
    record_harvest,
    take_back_harvest,
)
from farm.fruiting.life import FruitingLife, Stage, fruiting_lives, fruiting_since, usual_days
from farm.fruiting.usual_days import FruitingDays, table_days
from farm.fruiting.yields import (
    VesselYield,
    biological_efficiency,
    dry_weight_kg,
    moisture_percent,
    vessel_yields,
)

__all__ = [
    "HARVEST_COLUMNS",
    "Flush",
    "FruitingDays",
    "FruitingLife",
    "Stage",
    "VesselYield",
    "biological_efficiency",
    "dry_weight_kg",
    "flushes_of",
    "fruiting_lives",
    "fruiting_since",
    "harvest_cautions",
    "harvest_slips",
    "import_harvests",
    "list_harvests",
    "moisture_percent",
    "newest_harvests",
    "record_harvest",
    "table_days",
    "take_back_harvest",
    "take_back_table",
    "usual_days",
    "vessel_yields",
]
