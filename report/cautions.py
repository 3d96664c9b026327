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


def colour_words(colour: str) -> str:
    """What a suspect's colour commonly is and how sure that is not; "" for a word that is no colour."""
    meaning = colour_meanings().get(colour)
    return "" if meaning is None else f"{colour.capitalize()} is commonly {meaning.commonly}; but {meaning.not_sure}."
