"""The code that pairs a phone, for a terminal and for a page."""

from io import BytesIO, StringIO

import segno

#: What a pairing address begins with; the code follows as a fragment, which browsers send to nobody.
PAIRING_PATH = "/pair#"


def pairing_path(code: str) -> str:
    """The path that pairs a phone by a code."""
    return f"{PAIRING_PATH}{code}"


def qr_text(address: str) -> str:
    """A QR code (ISO/IEC 18004) of an address in characters for a terminal, dark on light whatever its colours."""
    text = StringIO()
    segno.make(address, error="m", micro=False).terminal(text, compact=True)
    return text.getvalue()


def qr_svg(address: str) -> str:
    """The same as a drawing for a page; its colours are black on white, as cameras expect."""
    drawing = BytesIO()
    colours = {"dark": "#000", "light": "#fff"}
    code = segno.make(address, error="m", micro=False)
    code.save(drawing, kind="svg", xmldecl=False, svgns=False, nl=False, omitsize=True, **colours)
    return drawing.getvalue().decode("ascii")
