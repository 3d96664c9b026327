"""Harvests that are most likely a mistake: more than the substrate can have borne, or of what is not for fruiting."""

from farm.records import contents_of
from farm.records.models import Vessel
from farm.store import Farm

#: More fresh mushrooms than so many times the wet substrate are taken for a mistake in the number or its unit. An
#: efficiency of 200 % of the dry weight is less than the wet weight (60 % water and more); the rest is room for
#: contents that are only assumed (our choice).
MOST_TIMES_CONTENTS = 3.0


def harvest_doubt(farm: Farm, vessel: Vessel, total_kg: float) -> str:
    """Why a harvest is to be noted only if a person is sure of it, in words; "" where nothing speaks against it.

    total_kg: all that was picked from the vessel, this harvest too.
    """
    if vessel.used_for != "fruiting":
        return f"{vessel.id} ({vessel.use_in_words}) is not for fruiting: a harvest would change nothing on its lists"
    contents = contents_of(farm, vessel)
    if 0 < contents * MOST_TIMES_CONTENTS < total_kg:
        held = farm.units.weight(contents)
        return f"{vessel.id}: {farm.units.weight(total_kg)} in all from {held} of wet substrate: is the unit right"
    return ""
