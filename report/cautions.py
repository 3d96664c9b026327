"""Words that every output shares: the headings of today's list, and the cautions that stand with every flag.

Who stays away and what to wear follow the US Centers for Disease Control and Prevention (CDC), "What to wear before
entering a home with mold damage" and "Respiratory protection for residents re-entering flooded homes"; a filtering
facepiece of European class FFP2 is about what is called N-95 there (EN 149; from memory). To leave a bag closed and
move it out is common practice, no source.
"""

from calibration import colour_meanings

SECTION_HEADINGS = {
    "look": "Look at these first",
    "ready": "Ready now",
    "due": "Due by now: take a photo",
    "soon": "Ready in the next {days} days",
    "later": "Later",
    "unknown": "No day can be given yet",
}

CAUTIONS = (
    "About suspects. A colour is no identification: it may be mould, or light, agar or droplets.",
    "Leave the vessel closed and move it out of the room. Do not open it and do not sniff at it.",
    "With mouldy material wear a respirator (N-95 or FFP2 at least), gloves and eye protection.",
    "People with asthma, allergies, lung disease or weak immunity, and children, stay away.",
    "Dispose of it closed, by your local rules.",
    "A clean picture is no proof of a clean vessel: the inside cannot be seen.",
    "Nothing here says that a mushroom is fit to eat.",
)

# Common practice, no source: what goes wrong when grain and substrate are made ready by heat.
HEAT_CAUTIONS = (
    "About sterilising. Hot steam and pressure scald and burst: follow the maker's instructions of the vessel.",
    "Before each run look at valve, gasket and water; never leave it alone under pressure, never force or open it "
    "before the pressure is gone and it has cooled.",
    "Jars and bags must be able to breathe (filter, loosened lid), or they burst; let all cool before you inoculate.",
    "Pasteurising: hot water and wet straw scald and are heavy; lift little, wear gloves, let it drain and cool.",
    "Local codes on pressure vessels, gas and steam come first.",
)


def colour_words(colour: str) -> str:
    """What a suspect's colour commonly is and how sure that is not; "" for a word that is no colour."""
    meaning = colour_meanings().get(colour)
    return "" if meaning is None else f"{colour.capitalize()} is commonly {meaning.commonly}; but {meaning.not_sure}."
