"""Draws on the pages of a PDF in millimetres; the typefaces of what is printed.

PDF uses points (1/72 inch) with y upwards; here lengths are millimetres from the top left.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

POINTS_PER_MM = 72 / 25.4
PLAIN, BOLD = "spawnrun-plain", "spawnrun-bold"


class Pen:
    """Draws on a page in millimetres from its top left corner."""

    def __init__(self, canvas: "Canvas", page_width_pt: float, page_height_pt: float) -> None:
        self._canvas = canvas
        self.width_mm = page_width_pt / POINTS_PER_MM
        self.height_mm = page_height_pt / POINTS_PER_MM

    def fill(self, boxes: Sequence[tuple[float, float, float, float]], srgb: int) -> None:
        """Fill boxes (left, top, width, height) as one path, so that neighbours have no visible seam."""
        path = self._canvas.beginPath()
        for left, top, width, height in boxes:
            path.rect(self._x(left), self._y(top + height), width * POINTS_PER_MM, height * POINTS_PER_MM)
        self._canvas.setFillColorRGB(*3 * (srgb / 255,))
        self._canvas.drawPath(path, stroke=0, fill=1)

    def line(self, x0: float, y0: float, x1: float, y1: float, width_mm: float = 0.1) -> None:
        """A black line."""
        self._canvas.setStrokeColorRGB(0, 0, 0)
        self._canvas.setLineWidth(width_mm * POINTS_PER_MM)
        self._canvas.line(self._x(x0), self._y(y0), self._x(x1), self._y(y1))

    def box(self, left: float, top: float, side_mm: float) -> None:
        """An empty square to tick."""
        self._canvas.setStrokeColorRGB(0, 0, 0)
        self._canvas.setLineWidth(0.3 * POINTS_PER_MM)
        self._canvas.rect(*(self._x(left), self._y(top + side_mm)), *2 * (side_mm * POINTS_PER_MM,))

    def text(self, x: float, baseline: float, text: str, size_pt: float, font: str = PLAIN) -> None:
        """Black text that begins at x; nothing in it is markup."""
        self._canvas.setFillColorRGB(0, 0, 0)
        self._canvas.setFont(font, size_pt)
        self._canvas.drawString(self._x(x), self._y(baseline), printable(text))

    def end_page(self) -> None:
        """The next mark is on a new page."""
        self._canvas.showPage()

    def _x(self, x_mm: float) -> float:
        return x_mm * POINTS_PER_MM

    def _y(self, y_mm: float) -> float:
        return (self.height_mm - y_mm) * POINTS_PER_MM


def shortened(text: str, width_mm: float, font: str, size_pt: float) -> str:
    """The text, cut with an ellipsis to fit a width."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    text = printable(text)
    if stringWidth(text, font, size_pt) <= width_mm * POINTS_PER_MM:
        return text
    while text and stringWidth(text + "\N{HORIZONTAL ELLIPSIS}", font, size_pt) > width_mm * POINTS_PER_MM:
        text = text[:-1]
    return text + "\N{HORIZONTAL ELLIPSIS}"


def printable(text: str) -> str:
    """The text with characters that cannot be printed, or that change the direction of text, replaced."""
    from reportlab.pdfbase.pdfmetrics import getFont

    glyphs = getFont(PLAIN).face.charToGlyph
    return "".join(
        letter if letter.isprintable() and ord(letter) in glyphs else "\N{REPLACEMENT CHARACTER}" for letter in text
    )


def register_fonts() -> None:
    """Register the typeface that comes with matplotlib: free to embed, with Greek, Cyrillic, Hebrew and Arabic."""
    from matplotlib import get_data_path
    from reportlab.pdfbase.pdfmetrics import getRegisteredFontNames, registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    if BOLD in getRegisteredFontNames():
        return
    fonts = Path(get_data_path()) / "fonts" / "ttf"
    registerFont(TTFont(PLAIN, fonts / "DejaVuSans.ttf"))
    registerFont(TTFont(BOLD, fonts / "DejaVuSans-Bold.ttf"))
