"""Keeping a farm safe: backup, restore, check, and the demo farm."""

from farm.upkeep.backup import back_up
from farm.upkeep.check import check_farm
from farm.upkeep.damage import Damage
from farm.upkeep.demo import make_demo_farm
from farm.upkeep.doubles import mend_doubles
from farm.upkeep.restore import restore_farm

__all__ = [
    "Damage",
    "back_up",
    "check_farm",
    "make_demo_farm",
    "mend_doubles",
    "restore_farm",
]
