"""Output for people: HTML report, review page, plots, label sheets, calendar, exports, and the safety cautions."""

from report.calendar import write_calendar
from report.cautions import CAUTIONS, HEAT_CAUTIONS, SECTION_HEADINGS, STATUS_WORDS, colour_words
from report.change_words import new_words
from report.compare_plot import write_comparison_plot
from report.csv_text import csv_text
from report.export import export_farm
from report.label_pdf import LabelSheets, write_labels
from report.label_sheet import (
    PaperName,
    PrintedLabel,
    SheetLayout,
    labels_of_vessels,
    own_layouts,
    sticker_layout,
    with_backs,
)
from report.list_groups import READY_HEADINGS, ListGroup, list_groups
from report.page import write_report
from report.photo_guide import Camera, photo_guide
from report.plot import write_plot
from report.private_link import private_link
from report.review_server import ReviewServer, review_page
from report.safe_text import visible, visible_lines
from report.task_sheet import write_task_sheet

__all__ = [
    "CAUTIONS",
    "HEAT_CAUTIONS",
    "READY_HEADINGS",
    "SECTION_HEADINGS",
    "STATUS_WORDS",
    "Camera",
    "LabelSheets",
    "ListGroup",
    "PaperName",
    "PrintedLabel",
    "ReviewServer",
    "SheetLayout",
    "colour_words",
    "csv_text",
    "export_farm",
    "labels_of_vessels",
    "list_groups",
    "new_words",
    "own_layouts",
    "photo_guide",
    "private_link",
    "review_page",
    "sticker_layout",
    "visible",
    "visible_lines",
    "with_backs",
    "write_calendar",
    "write_comparison_plot",
    "write_labels",
    "write_plot",
    "write_report",
    "write_task_sheet",
]
