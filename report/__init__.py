"""Output for people: HTML report, plots, label sheets, calendar, exports, and the safety cautions."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from report.calendar import write_calendar
    from report.cautions import (
        CAUTIONS,
        FOOD_CAUTION,
        HEAT_CAUTIONS,
        SECTION_HEADINGS,
        SPORE_CAUTION,
        STATUS_WORDS,
        colour_words,
    )
    from report.change_words import new_words
    from report.compare_plot import write_comparison_plot
    from report.csv_output import csv_text
    from report.drawing import Drawing, draw_curve
    from report.export import export_farm
    from report.grouped_list import READY_HEADINGS, ListGroup, list_groups
    from report.guide import Camera, photo_guide
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
    from report.link_file import private_link
    from report.page import write_report
    from report.plot import write_plot
    from report.safe_text import visible, visible_lines
    from report.task_sheet import write_task_sheet
    from report.templating import templates_of

__all__ = [
    "CAUTIONS",
    "FOOD_CAUTION",
    "HEAT_CAUTIONS",
    "READY_HEADINGS",
    "SECTION_HEADINGS",
    "SPORE_CAUTION",
    "STATUS_WORDS",
    "Camera",
    "Drawing",
    "LabelSheets",
    "ListGroup",
    "PaperName",
    "PrintedLabel",
    "SheetLayout",
    "colour_words",
    "csv_text",
    "draw_curve",
    "export_farm",
    "labels_of_vessels",
    "list_groups",
    "new_words",
    "own_layouts",
    "photo_guide",
    "private_link",
    "sticker_layout",
    "templates_of",
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

#: Names by the module that has them. A module is loaded when one of its names is first asked for: today's list needs a
#: few words of this room, not what draws PDF files and charts.
_NAMES = {
    "calendar": ("write_calendar",),
    "cautions": (
        "CAUTIONS",
        "FOOD_CAUTION",
        "HEAT_CAUTIONS",
        "SECTION_HEADINGS",
        "SPORE_CAUTION",
        "STATUS_WORDS",
        "colour_words",
    ),
    "change_words": ("new_words",),
    "compare_plot": ("write_comparison_plot",),
    "csv_output": ("csv_text",),
    "drawing": ("Drawing", "draw_curve"),
    "export": ("export_farm",),
    "label_pdf": ("LabelSheets", "write_labels"),
    "label_sheet": (
        "PaperName",
        "PrintedLabel",
        "SheetLayout",
        "labels_of_vessels",
        "own_layouts",
        "sticker_layout",
        "with_backs",
    ),
    "grouped_list": ("READY_HEADINGS", "ListGroup", "list_groups"),
    "page": ("write_report",),
    "guide": ("Camera", "photo_guide"),
    "plot": ("write_plot",),
    "link_file": ("private_link",),
    "safe_text": ("visible", "visible_lines"),
    "task_sheet": ("write_task_sheet",),
    "templating": ("templates_of",),
}
_MODULES = {name: module for module, names in _NAMES.items() for name in names}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - type checkers see the imports above
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"report.{_MODULES[name]}"), name)
