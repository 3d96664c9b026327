"""Layout of label sheets: paper sizes, sticker sheets by rows and columns, and the ids to print.

All lengths are millimetres, origin at the top left corner of the page, x to the right, y down.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from calibration import (
    BACK_SUFFIX,
    LABELS,
    VESSEL_ID_MAX_LENGTH,
    LabelSize,
    back_label,
    vessel_kinds,
)
from farm.records.models import Vessel

PaperName = Literal["a4", "letter"]
#: Width and height of the papers, mm: ISO 216 A4, and ANSI/ASME Y14.1 A ("letter", 8.5 x 11 inches).
PAPERS: dict[PaperName, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
#: Margin and gap on plain paper: room for cut marks, and for the edge that printers cannot print on.
_OWN_MARGIN_MM, _OWN_GAP_MM = 12.0, 5.0


@dataclass(frozen=True)
class PrintedLabel:
    """One label to print, and the vessel it is for; None for an id that is not in the farm yet."""

    id: str
    size: LabelSize
    vessel: Vessel | None = None


@dataclass(frozen=True)
class SheetLayout:
    """Stickers on a page: rows and columns of equal cells. Each label is centred in its cell."""

    page_width_mm: float
    page_height_mm: float
    rows: int
    columns: int
    left_mm: float
    top_mm: float
    gap_across_mm: float
    gap_down_mm: float
    cell_width_mm: float
    cell_height_mm: float

    @property
    def places(self) -> int:
        """Labels on a page."""
        return self.rows * self.columns

    def place_mm(self, place: int, size: LabelSize) -> tuple[float, float]:
        """Left and top of the label at a position on the page, counted row by row from 0."""
        row, column = divmod(place, self.columns)
        label = LABELS[size]
        left = self.left_mm + column * (self.cell_width_mm + self.gap_across_mm)
        top = self.top_mm + row * (self.cell_height_mm + self.gap_down_mm)
        return left + (self.cell_width_mm - label.width_mm) / 2, top + (self.cell_height_mm - label.height_mm) / 2


def own_layout(paper: PaperName, size: LabelSize) -> SheetLayout:
    """As many labels as fit on plain sticker paper, with room to cut between them."""
    width, height = PAPERS[paper]
    label = LABELS[size]
    columns = _fitting(width - 2 * _OWN_MARGIN_MM, label.width_mm, _OWN_GAP_MM)
    rows = _fitting(height - 2 * _OWN_MARGIN_MM, label.height_mm, _OWN_GAP_MM)
    used_width = columns * label.width_mm + (columns - 1) * _OWN_GAP_MM
    return SheetLayout(
        page_width_mm=width,
        page_height_mm=height,
        rows=rows,
        columns=columns,
        left_mm=(width - used_width) / 2,
        top_mm=_OWN_MARGIN_MM,
        gap_across_mm=_OWN_GAP_MM,
        gap_down_mm=_OWN_GAP_MM,
        cell_width_mm=label.width_mm,
        cell_height_mm=label.height_mm,
    )


def own_layouts(paper: PaperName, labels: Sequence[PrintedLabel]) -> list[tuple[SheetLayout, Sequence[PrintedLabel]]]:
    """The labels grouped by size, each group with its layout."""
    by_size = [(size, [label for label in labels if label.size == size]) for size in LABELS]
    return [(own_layout(paper, size), some) for size, some in by_size if some]


def sticker_layout(
    paper: PaperName,
    sizes: Iterable[LabelSize],
    *,
    rows: int,
    columns: int,
    left_mm: float,
    top_mm: float,
    gap_across_mm: float = 0.0,
    gap_down_mm: float = 0.0,
) -> SheetLayout:
    """The layout of a bought sticker sheet with equal margins left and right, above and below.

    left_mm, top_mm: from the paper's edge to the first sticker. Raises ValueError if a label does not fit.
    """
    width, height = PAPERS[paper]
    cell_width = (width - 2 * left_mm - (columns - 1) * gap_across_mm) / columns
    cell_height = (height - 2 * top_mm - (rows - 1) * gap_down_mm) / rows
    for size in sizes:
        label = LABELS[size]
        if label.width_mm > cell_width + 1e-6 or label.height_mm > cell_height + 1e-6:
            raise ValueError(
                f"a {size} label is {label.width_mm:g} x {label.height_mm:g} mm;"
                f" a sticker of this sheet is {cell_width:.1f} x {cell_height:.1f} mm"
            )
    return SheetLayout(
        width, height, rows, columns, left_mm, top_mm, gap_across_mm, gap_down_mm, cell_width, cell_height
    )


def labels_of_vessels(vessels: Sequence[Vessel]) -> list[PrintedLabel]:
    """A label for each vessel, in the size given by its record or its kind."""
    return [PrintedLabel(one.id, one.label_size or vessel_kinds()[one.kind].label_size, one) for one in vessels]


def with_backs(labels: Sequence[PrintedLabel]) -> list[PrintedLabel]:
    """The labels, each followed by the label of the vessel's back if its label is on its face.

    Raises ValueError naming the ids that are too long for a back label.
    """
    wanted: list[PrintedLabel] = []
    too_long = []
    for label in labels:
        wanted.append(label)
        vessel = label.vessel
        place = None if vessel is None else vessel.label_place or vessel_kinds()[vessel.kind].label_place
        if place == "below" or label.id.endswith(BACK_SUFFIX):
            continue
        back = back_label(label.id)
        if back is None:
            too_long.append(label.id)
        else:
            wanted.append(PrintedLabel(back, label.size, vessel))
    if too_long:
        most = VESSEL_ID_MAX_LENGTH - len(BACK_SUFFIX)
        raise ValueError(f"an id with a back label has at most {most} characters: {', '.join(too_long)}")
    return wanted


def _fitting(room_mm: float, length_mm: float, gap_mm: float) -> int:
    return int((room_mm + gap_mm) // (length_mm + gap_mm))
