"""Texts shared by all outputs: the headings of today's list, and the safety cautions shown with every suspect.

Who should keep away and what to wear follow the US Centers for Disease Control and Prevention (CDC), "What to wear
before entering a home with mold damage" and "Respiratory protection for residents re-entering flooded homes". A
filtering facepiece of European class FFP2 is roughly equivalent to N-95 (EN 149; from memory). Leaving a bag closed
and moving it out is common practice, no source.
"""

from calibration import colour_meanings

SECTION_HEADINGS = {
    "look": "Look at these first",
    "harvest": "Due to be picked",
    "ready": "Ready now",
    "due": "Due by now: take a photo",
    "soon": "Ready in the next {days} days",
    "later": "Later",
    "unknown": "No day can be given yet",
    "fruiting": "Fruiting",
}

#: How a vessel stands by its forecast, and what to do where something is to be done.
STATUS_WORDS = {
    "no readings": "no readings yet",
    "waiting": "no growth seen yet",
    "colonising": "colonising",
    "colonised": "colonised through, resting",
    "ready": "ready",
    "stalled": "stalled: its growth has stopped, look at it",
    "dropped": "percent fell: if it was shaken, note that; else look at its photo",
}

CAUTIONS = (
    "About suspects. A colour does not identify anything: it may be mould, or light, agar or droplets.",
    "Leave the vessel closed and move it out of the room. Do not open it and do not sniff at it.",
    "When you handle mouldy material, wear a respirator (N-95 or FFP2 at least), gloves and eye protection.",
    "People with asthma, allergies, lung disease or weak immunity, and children, should keep away.",
    "Dispose of it closed, following your local rules.",
    "A clean picture does not prove a clean vessel: the inside cannot be seen.",
    "Nothing here says that a mushroom is fit to eat.",
)

# Common practice, no source.
FOOD_CAUTION = (
    "About food. Nothing here says that a mushroom is fit to eat: be sure of what it is, discard what grew beside"
    " mould, and follow your local food rules."
)

# Common practice, no source.
SPORE_CAUTION = (
    "About spores. Mushroom spores can harm lungs: air the fruiting room, pick before they shed heavily, wear a"
    " respirator to pick in a closed room, and follow your local work-safety rules."
)

# Common practice, no source: hazards of sterilising and pasteurising grain and substrate.
HEAT_CAUTIONS = (
    "About sterilising. Steam under pressure can scald, and vessels can burst: follow the instructions of the maker.",
    "Before each run check valve, gasket and water. Never leave a vessel under pressure unattended. Never force or open"
    " it before the pressure is gone and it has cooled.",
    "Jars and bags need a filter or a loosened lid, or they burst. Let everything cool before you inoculate.",
    "Pasteurising: hot water and wet straw scald and are heavy. Lift little, wear gloves, let it drain and cool.",
    "Local codes on pressure vessels, gas and steam come first.",
)


def colour_words(colour: str) -> str:
    """What a suspect's colour commonly is, and why that is uncertain; "" for an unknown colour word."""
    meaning = colour_meanings().get(colour)
    return "" if meaning is None else f"{colour.capitalize()} is commonly {meaning.commonly}; but {meaning.not_sure}."
