"""Labels as a PDF to print: the sheets, a key of which label goes where, and the photo guide.

PDF uses points (1/72 inch) with y upwards; everything here is in millimetres from the top left.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from calibration import LABELS, LabelGeometry, Patch, species_name, vessel_and_side, vessel_kinds
from farm.store import Units, output_file
from farm.store.errors import SpawnrunError
from report.guide import Camera, far_words, photo_guide, widest_view
from report.guide_drawings import draw_guide
from report.label_sheet import PrintedLabel, SheetLayout
from report.pdf_pen import BOLD, PLAIN, POINTS_PER_MM, Pen, printable, register_fonts, shortened

_RULER_MM = 100
_EDGE_MM = 12.0
_CUT_MARK_MM, _CUT_MARK_OFF_MM = 1.6, 0.4
#: sRGB level in which a label's code is printed.
_BLACK = 0
_KEY_HEADINGS = ("label", "kind", "species", "substrate", "batch", "where it goes")
_KEY_WIDTHS_MM = (38.0, 18.0, 32.0, 34.0, 28.0, 36.0)
_PLACES = {
    "on_face": "on the face, top middle",
    "below": "below it, in the middle",
    "back": "on the back, top middle",
}


class LabelSheetError(SpawnrunError):
    """The sheets cannot be written."""


@dataclass(frozen=True)
class LabelSheets:
    """What to print: groups of labels, each with its layout.

    title: shown on the key. first_place: number of positions on the first page that are already used. camera: for the
    guide; units: of its lengths. with_guide: False leaves out guide and key.
    """

    groups: Sequence[tuple[SheetLayout, Sequence[PrintedLabel]]]
    title: str = ""
    first_place: int = 0
    cut_marks: bool = True
    with_guide: bool = True
    camera: Camera = field(default_factory=Camera)
    units: Units = field(default_factory=Units)


def write_labels(sheets: LabelSheets, target: Path) -> int:
    """Number of pages of the PDF, after writing it. Raises LabelSheetError or OutputPathError."""
    from reportlab.pdfgen.canvas import Canvas

    output_file(target, ".pdf")
    register_fonts()
    layout = sheets.groups[0][0]
    page = (layout.page_width_mm * POINTS_PER_MM, layout.page_height_mm * POINTS_PER_MM)
    try:
        with target.open("wb") as file:
            canvas = Canvas(file, pagesize=page, initialFontName=PLAIN)
            canvas.setTitle(f"Vessel labels {printable(sheets.title)}".strip())
            pen = Pen(canvas, *page)
            first = sheets.first_place
            for group_layout, labels in sheets.groups:
                _draw_pages(pen, group_layout, labels, first, cut_marks=sheets.cut_marks)
                first = 0
            if sheets.with_guide:
                _draw_key(pen, [label for _, labels in sheets.groups for label in labels], sheets.title)
                _draw_guide(pen, sheets.camera, sheets.units)
            canvas.save()
    except OSError as error:
        raise LabelSheetError(f"{target}: cannot be written: {error.strerror}") from None
    return int(canvas.getPageNumber()) - 1


def _draw_pages(
    pen: Pen, layout: SheetLayout, labels: Sequence[PrintedLabel], first_place: int, *, cut_marks: bool
) -> None:
    places = range(first_place, first_place + len(labels))
    for place, label in zip(places, labels, strict=True):
        if place > first_place and place % layout.places == 0:
            _end_label_page(pen, layout)
        left, top = layout.place_mm(place % layout.places, label.size)
        _draw_label(pen, label.id, LABELS[label.size], left, top)
        if cut_marks:
            _draw_cut_marks(pen, LABELS[label.size], left, top)
    _end_label_page(pen, layout)


def _end_label_page(pen: Pen, layout: SheetLayout) -> None:
    """End the page, with the ruler below the stickers if there is room."""
    used = layout.top_mm + layout.rows * (layout.cell_height_mm + layout.gap_down_mm) - layout.gap_down_mm
    if layout.page_height_mm - used >= _EDGE_MM - 0.5:
        _draw_ruler(pen, layout.page_height_mm - 7.0)
    pen.end_page()


def _draw_label(pen: Pen, text: str, geometry: LabelGeometry, left: float, top: float) -> None:
    """A version 1 label; QR code by ISO/IEC 18004, version 1, level Q, alphanumeric."""
    import segno

    code = segno.make_qr(text, version=1, error="q", mode="alphanumeric", boost_error=False)
    module = geometry.module_mm
    dark = [
        (left + geometry.code_left_mm + column * module, top + geometry.code_top_mm + row * module, module, module)
        for row, line in enumerate(code.matrix)
        for column, is_dark in enumerate(line)
        if is_dark
    ]
    pen.fill(dark, _BLACK)
    for patch in geometry.patches:
        pen.fill([_patch_box(patch, left, top)], patch.srgb)
    _draw_id(pen, text, geometry, left, top)


def _patch_box(patch: Patch, left: float, top: float) -> tuple[float, float, float, float]:
    return left + patch.left_mm, top + patch.top_mm, patch.side_mm, patch.side_mm


def _draw_id(pen: Pen, text: str, geometry: LabelGeometry, left: float, top: float) -> None:
    """The id in bold, as large as its box allows, on one or two lines."""
    lines, size_pt = max((_fitted(lines, geometry) for lines in _line_breaks(text)), key=lambda one: one[1])
    line_mm = size_pt / POINTS_PER_MM
    above = (geometry.id_height_mm - line_mm * len(lines)) / 2
    for number, line in enumerate(lines):
        # The cap height of this typeface is about 0.73 of the type size.
        baseline = top + geometry.id_top_mm + above + line_mm * (number + 0.865)
        pen.text(left + geometry.id_left_mm, baseline, line, size_pt, BOLD)


def _line_breaks(text: str) -> list[tuple[str, ...]]:
    """The text on one line, and on two lines, split after a punctuation mark if there is one."""
    after_signs = [at for at in range(1, len(text)) if not text[at - 1].isalnum()] or [(len(text) + 1) // 2]
    return [(text,), *((text[:at], text[at:]) for at in after_signs if len(text) > 4)]


def _fitted(lines: tuple[str, ...], geometry: LabelGeometry) -> tuple[tuple[str, ...], float]:
    """The lines with the largest type size, in points, that fits the id's box."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    widest = max(stringWidth(line, BOLD, 1.0) for line in lines)
    size = min(geometry.id_width_mm * POINTS_PER_MM / widest, geometry.id_height_mm * POINTS_PER_MM / len(lines))
    return lines, float(size)


def _draw_cut_marks(pen: Pen, geometry: LabelGeometry, left: float, top: float) -> None:
    right, bottom = left + geometry.width_mm, top + geometry.height_mm
    for x, outwards_x in ((left, -1), (right, 1)):
        for y, outwards_y in ((top, -1), (bottom, 1)):
            near, far = _CUT_MARK_OFF_MM, _CUT_MARK_OFF_MM + _CUT_MARK_MM
            pen.line(x + outwards_x * near, y, x + outwards_x * far, y)
            pen.line(x, y + outwards_y * near, x, y + outwards_y * far)


def _draw_ruler(pen: Pen, y: float) -> None:
    """A line of 100 mm with a tick each 10 mm, to check that the sheet was printed at actual size."""
    pen.line(_EDGE_MM, y, _EDGE_MM + _RULER_MM, y, 0.2)
    for at in range(0, _RULER_MM + 1, 10):
        pen.line(_EDGE_MM + at, y, _EDGE_MM + at, y - (3.0 if at % 50 == 0 else 1.8), 0.2)
    pen.text(
        _EDGE_MM + _RULER_MM + 3, y, f"{_RULER_MM} mm. If it measures differently, print at actual size (100 %).", 7
    )


def _draw_key(pen: Pen, labels: Sequence[PrintedLabel], title: str) -> None:
    """Which label goes where, for the labels of vessels that are known."""
    known = list({label.id: label for label in labels if label.vessel is not None}.values())
    y = pen.height_mm  # as if the page were full
    for number, label in enumerate(known):
        if y > pen.height_mm - 2 * _EDGE_MM:
            if number:
                pen.end_page()
            pen.text(_EDGE_MM, 18, f"Which label goes where: {title}", 13, BOLD)
            y = _key_row(pen, 27, _KEY_HEADINGS, BOLD)
        y = _key_row(pen, y, _key_cells(label))
    if known:
        pen.end_page()


def _key_cells(label: PrintedLabel) -> tuple[str, ...]:
    vessel = label.vessel
    if vessel is None:
        return (label.id,)
    side = vessel_and_side(label.id, {vessel.id})[1]
    place = _PLACES["back" if side == "back" else vessel.label_place or vessel_kinds()[vessel.kind].label_place]
    return label.id, vessel.kind, species_name(vessel.species), vessel.substrate, vessel.batch, place


def _key_row(pen: Pen, y: float, cells: Sequence[str], font: str = PLAIN) -> float:
    """Draw one row of the key and return the next y; text too long for its column is shortened with an ellipsis."""
    x = _EDGE_MM
    for cell, width in zip(cells, _KEY_WIDTHS_MM, strict=False):
        pen.text(x, y, shortened(cell, width - 2, font, 8), 8, font)
        x += width
    return y + 5.2


def _draw_guide(pen: Pen, camera: Camera, units: Units) -> None:
    from reportlab.lib.utils import simpleSplit

    y = 20.0
    pen.text(_EDGE_MM, y, "How to photograph the shelf", 16, BOLD)
    for heading, text in photo_guide(camera, units):
        y += 10.0
        pen.text(_EDGE_MM, y, heading, 11, BOLD)
        for line in simpleSplit(text, PLAIN, 9.5, (pen.width_mm - 2 * _EDGE_MM) * POINTS_PER_MM):
            y += 5.0
            pen.text(_EDGE_MM, y, line, 9.5)
    draw_guide(pen, _EDGE_MM, y + 6.0, camera, far_words(widest_view(camera, "normal"), units))
    _draw_ruler(pen, pen.height_mm - 12.0)
    pen.end_page()
