"""Text of other people's making, fit to be shown."""


def visible(text: str) -> str:
    """The text with what a terminal or a calendar would obey, or that would turn the line around, shown as a mark."""
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text)
