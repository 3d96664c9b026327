"""The code that pairs a phone, for a terminal and for a page."""

from io import BytesIO, StringIO

import segno

#: What a pairing address begins with; the code follows as a fragment, which browsers send to nobody.
PAIRING_PATH = "/pair#"
#: Colours of a terminal (ECMA-48, SGR; 97 is a bright white, as common terminals have it).
_WHITE_ON_BLACK, _USUAL = "\x1b[97;40m", "\x1b[0m"


def pairing_path(code: str) -> str:
    """The path that pairs a phone by a code."""
    return f"{PAIRING_PATH}{code}"


def qr_text(address: str, *, coloured: bool = False) -> str:
    """A QR code (ISO/IEC 18004) of an address in half blocks, two modules above each other in a character.

    A block is light. coloured: for a terminal, whatever its own colours: light is made white, and dark black.
    """
    text = StringIO()
    segno.make(address, error="m", micro=False).terminal(text, compact=True)
    lines = text.getvalue().rstrip("\n").split("\n")
    return "\n".join(f"{_WHITE_ON_BLACK}{line}{_USUAL}" if coloured else line for line in lines)


def qr_svg(address: str) -> str:
    """The same as a drawing for a page; its colours are black on white, as cameras expect."""
    drawing = BytesIO()
    colours = {"dark": "#000", "light": "#fff"}
    code = segno.make(address, error="m", micro=False)
    code.save(drawing, kind="svg", xmldecl=False, svgns=False, nl=False, omitsize=True, **colours)
    return drawing.getvalue().decode("ascii")
