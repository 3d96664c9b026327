"""Today's list on paper: what is to be done on each shelf, with a box to tick for each vessel."""

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from math import ceil
from pathlib import Path

from farm.lists import TAKE_A_PHOTO, Task, TodayItem, tasks_by_shelf
from farm.records import ids_in_short
from farm.store import Farm, Units, output_file
from farm.store.errors import SpawnrunError
from report.cards import day_of
from report.cautions import CAUTIONS, FOOD_CAUTION, SPORE_CAUTION
from report.label_sheet import PAPERS, PaperName
from report.pdf_pen import BOLD, PLAIN, POINTS_PER_MM, Pen, register_fonts, shortened

_EDGE_MM = 12.0
_LEFT_MM = 80.0
_LINE_MM, _BOX_MM = 5.4, 3.6
_TEXT_PT = 9.0
#: Of more vessels than this in one task the ids stand as ranges, with one box for all.
_MOST_BOXES = 20
#: And of photos, of which one picture may show several.
_MOST_PHOTO_BOXES = 8
_GAP_MM = 0.4
#: Size of a caution, and how much its line is shorter than the page is wide, since its first words are bold.
_CAUTION_PT, _BOLD_MM = 8.0, 4.0
#: Room to write by hand, with gloves.
_ROOM_FOR_A_WEIGHT = "_" * 8


class TaskSheetError(SpawnrunError):
    """The sheet cannot be written."""


@dataclass(frozen=True)
class _Row:
    """A task as texts: what to do, with which, and a text for each box to tick."""

    action: str
    what: str
    boxes: tuple[str, ...]


def write_task_sheet(farm: Farm, items: Sequence[TodayItem], target: Path) -> int:
    """Number of pages, after writing what is to be done today as a PDF. Raises TaskSheetError or OutputPathError.

    A farm that measures in inches gets paper of that size.
    """
    from reportlab.pdfgen.canvas import Canvas

    output_file(target, ".pdf")
    register_fonts()
    paper: PaperName = "letter" if farm.units.lengths == "inches" else "a4"
    size = tuple(length * POINTS_PER_MM for length in PAPERS[paper])
    title = f"{farm.folder.resolve().name}, {day_of(farm.now, farm, with_time=True)}"
    try:
        with target.open("wb") as file:
            canvas = Canvas(file, pagesize=size, initialFontName=PLAIN)
            canvas.setTitle("To do today")
            # Drawn twice: how many pages there are is known at the end, and stands on the first.
            counted = _Sheet(Pen(Canvas(BytesIO(), pagesize=size, initialFontName=PLAIN), *size), title)
            _draw(counted, items, farm.units)
            sheet = _Sheet(Pen(canvas, *size), title, counted.page)
            _draw(sheet, items, farm.units)
            canvas.save()
    except OSError as error:
        raise TaskSheetError(f"{target}: cannot be written: {error.strerror}") from None
    return sheet.page


def _draw(sheet: "_Sheet", items: Sequence[TodayItem], units: Units) -> None:
    shelves = tasks_by_shelf(items)
    if not shelves:
        sheet.line("Nothing to do today.", PLAIN)
    for shelf, tasks in shelves.items():
        rows = [_row(task, units) for task in tasks]
        sheet.shelf(f"Shelf {shelf}" if shelf else "No shelf noted", rows[0])
        for row in rows:
            sheet.row(row)
    if any(item.needs_look for item in items):
        sheet.caution(" ".join(CAUTIONS[:3]))
    for caution in (FOOD_CAUTION, SPORE_CAUTION) if any(item.section == "harvest" for item in items) else ():
        sheet.caution(caution)
    sheet.end()


def _row(task: Task, units: Units) -> _Row:
    """A task; what is to be picked has room for the weight behind each vessel."""
    one_of = "" if len(task.items) == 1 and not task.batch else f"{task.batch or task.count}"
    count = task.count if task.batch else ""
    what = ", ".join(filter(None, (": ".join(filter(None, (one_of, count))), task.what)))
    most = _MOST_PHOTO_BOXES if task.action == TAKE_A_PHOTO else _MOST_BOXES
    ids = task.ids if len(task.items) <= most else (f"all {len(task.items)}: {ids_in_short(task.ids)}",)
    if any(item.fruiting and item.fruiting.stage == "due" for item in task.items):
        ids = tuple(f"{one} {_ROOM_FOR_A_WEIGHT} {units.weights}" for one in ids)
    return _Row("; ".join(filter(None, (task.action, task.photo_first))), what, ids)


class _Sheet:
    """Pages that fill from the top; each begins with the title, and its number where there are several."""

    def __init__(self, pen: Pen, title: str, n_pages: int = 1) -> None:
        self._pen, self._title, self._n_pages = pen, title, n_pages
        self.page = 0
        self._y = 0.0
        self._shelf = ""
        self._begin()

    def shelf(self, name: str, first: _Row) -> None:
        """A shelf's heading, on the page of its first row."""
        self._room(6.6 + self._height(first))
        self._shelf = name
        self._heading(name)

    def row(self, row: _Row) -> None:
        """A task: its words on the left, its boxes on the right; on a new page below the shelf's heading again."""
        if self._room(self._height(row)):
            self._heading(f"{self._shelf}, continued")
        top = self._y
        self._pen.line(_EDGE_MM, top, self._pen.width_mm - _EDGE_MM, top)
        self._pen.text(_EDGE_MM, top + 4.2, shortened(row.action, _LEFT_MM - 2, BOLD, _TEXT_PT), _TEXT_PT, BOLD)
        self._pen.text(_EDGE_MM, top + 7.9, shortened(row.what, _LEFT_MM - 2, PLAIN, 8), 8)
        across = self._boxes_across(row)
        room = (self._width - _LEFT_MM) / across
        for number, text in enumerate(row.boxes):
            left = _EDGE_MM + _LEFT_MM + number % across * room
            y = top + number // across * _LINE_MM + 1.2
            self._pen.box(left, y, _BOX_MM)
            name = shortened(text, room - _BOX_MM - 2, PLAIN, _TEXT_PT)
            self._pen.text(left + _BOX_MM + 1, y + 3.1, name, _TEXT_PT)
        self._y += self._height(row)

    def line(self, text: str, font: str, size_pt: float = _TEXT_PT) -> None:
        """A line of text."""
        self._room(5.0)
        self._y += 4.4
        self._pen.text(_EDGE_MM, self._y, shortened(text, self._width, font, size_pt), size_pt, font)

    def caution(self, text: str) -> None:
        """A caution in small print, its first words ("About food.") bold."""
        from reportlab.lib.utils import simpleSplit
        from reportlab.pdfbase.pdfmetrics import stringWidth

        topic = text.partition(". ")[0] + "."
        lines = simpleSplit(text, PLAIN, _CAUTION_PT, (self._width - _BOLD_MM) * POINTS_PER_MM)
        self._room(1.5 + 3.8 * len(lines))
        self._y += 1.5
        for number, line in enumerate(lines):
            self._y += 3.8
            lead = "" if number else topic
            self._pen.text(_EDGE_MM, self._y, lead, _CAUTION_PT, BOLD)
            left = _EDGE_MM + stringWidth(lead, BOLD, _CAUTION_PT) / POINTS_PER_MM
            self._pen.text(left, self._y, line.removeprefix(lead), _CAUTION_PT)

    def end(self) -> None:
        """The last page is full."""
        self._pen.end_page()

    @property
    def _width(self) -> float:
        return self._pen.width_mm - 2 * _EDGE_MM

    def _boxes_across(self, row: _Row) -> int:
        """As many boxes side by side as fit the longest of their texts."""
        from reportlab.pdfbase.pdfmetrics import stringWidth

        widest = max(stringWidth(text, PLAIN, _TEXT_PT) for text in row.boxes) / POINTS_PER_MM + _BOX_MM + 3
        return max(1, int((self._width - _LEFT_MM) // widest))

    def _height(self, row: _Row) -> float:
        return max(8.8, ceil(len(row.boxes) / self._boxes_across(row)) * _LINE_MM + 1.0) + _GAP_MM

    def _heading(self, text: str) -> None:
        self._y += 5.1
        self._pen.text(_EDGE_MM, self._y, shortened(text, self._width, BOLD, 11), 11, BOLD)
        self._y += 1.5

    def _room(self, height_mm: float) -> bool:
        """Whether a new page was begun, since the height does not fit on this one."""
        if self._y + height_mm <= self._pen.height_mm - _EDGE_MM:
            return False
        self._pen.end_page()
        self._begin()
        return True

    def _begin(self) -> None:
        self.page += 1
        self._pen.text(_EDGE_MM, 14.0, shortened(f"To do: {self._title}", self._width - 20, BOLD, 13), 13, BOLD)
        if self._n_pages > 1:
            self._pen.text(self._pen.width_mm - _EDGE_MM - 18, 14.0, f"page {self.page} of {self._n_pages}", 8)
        self._y = 17.0
