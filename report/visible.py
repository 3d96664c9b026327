"""Text of other people's making, fit to be shown."""

import re

#: What a page would not show but obey: controls (C0, C1; not tab and line feed), and marks that turn the direction
#: of what follows (Unicode Standard Annex 9, table 4).
_OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def visible(text: str) -> str:
    """The text with what a terminal or a calendar would obey, or that would turn the line around, shown as a mark."""
    if text.isprintable():  # nearly all are, and lists have tens of thousands
        return text
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text)


def visible_lines(text: str) -> str:
    """The same, line by line: line feeds stay."""
    return "\n".join(map(visible, text.split("\n")))


def on_a_page(text: str) -> str:
    """The same for a page, which shows more than a terminal does: only what it would obey is shown as a mark."""
    return _OBEYED.sub("\N{REPLACEMENT CHARACTER}", text)
