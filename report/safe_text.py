"""Make text from outside safe to show on a terminal or a page."""

import re

#: Control characters (C0, C1; not tab and line feed), and characters that change the direction of text (Unicode
#: Standard Annex 9, table 4).
_CONTROLS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def visible(text: str) -> str:
    """The text with control characters, and characters that change its direction, replaced by U+FFFD."""
    if text.isprintable():  # fast path for nearly all texts
        return text
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text)


def visible_lines(text: str) -> str:
    """As ``visible``, but line feeds are kept."""
    return "\n".join(map(visible, text.split("\n")))


def on_a_page(text: str) -> str:
    """As ``visible`` for an HTML page, where only control and direction characters need replacing."""
    return _CONTROLS.sub("\N{REPLACEMENT CHARACTER}", text)
