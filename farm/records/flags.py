"""Quality conditions that the farm adds to those of vision, and all of them in words."""

from collections.abc import Iterable

TAKEN_IN_FUTURE = "taken_in_future"
TAKEN_BEFORE_INOCULATION = "taken_before_inoculation"
SERIES_UNREADABLE = "series_unreadable"

FARM_FLAGS: dict[str, str] = {
    TAKEN_IN_FUTURE: "The photo says that it was taken in the future; check the camera's clock.",
    TAKEN_BEFORE_INOCULATION: "Taken before the vessel was inoculated, so left out of the curve; check both dates.",
    SERIES_UNREADABLE: "The vessel's photos could not be read together; this is from one photo alone.",
}


#: Flags whose names only a specialist knows, in a grower's words.
_PLAIN_WORDS = {"sharp_front": "growth ends at an edge", "part_stalled": "a part has stopped growing"}


def flag_words(names: Iterable[str]) -> str:
    """The flags in few words, for a narrow column."""
    return "; ".join(_PLAIN_WORDS.get(name, name.replace("_", " ")) for name in names)


def explain_flags(names: Iterable[str]) -> list[str]:
    """A sentence for each flag; the name itself for one that only another version knows."""
    from vision.flags import FLAGS

    return [FARM_FLAGS.get(name) or FLAGS.get(name) or name for name in names]
