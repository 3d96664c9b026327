"""Printed labels, read back from the page by an independent renderer, an independent decoder, and this program.

Pages are rendered by PDFium and codes decoded by zxing-cpp; neither shares code with the printing. The dimensions of
label version 1 are repeated here on purpose.
"""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
import zxingcpp

from calibration import LABELS
from calibration.label import LabelSize
from farm.records import expand_ids
from farm.records.models import Vessel
from report import LabelSheets, PrintedLabel, labels_of_vessels, own_layouts, sticker_layout, write_labels
from report.label_sheet import PaperName
from vision.label.labels import find_labels
from vision.label.pose import settle_label
from vision.label.white import white_at_label

DPI = 300
PX_PER_MM = DPI / 25.4
#: Version 1, mm: code left, top, side; patches left, top, sRGB; all patches 8 x 8. The small label has half the size.
CODE = (6.3, 6.35, 27.3)
PATCHES = ((41, 14, 200), (50, 14, 122), (41, 24, 85), (50, 24, 52))
AGREES_MM = 0.2

QR_CODES = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode])


def pages(target: Path) -> list[np.ndarray]:
    """Grey pages at 300 dpi."""
    with pypdfium2.PdfDocument(target) as document:
        return [document[at].render(scale=DPI / 72, grayscale=True).to_numpy() for at in range(len(document))]


def words(target: Path) -> str:
    with pypdfium2.PdfDocument(target) as document:
        return "\n".join(document[at].get_textpage().get_text_range() for at in range(len(document)))


def decoded(page: np.ndarray) -> list[str]:
    found = zxingcpp.read_barcodes(np.ascontiguousarray(page.squeeze()), formats=QR_CODES)
    return [one.text for one in found]


def write(tmp_path: Path, ids: list[str], size: LabelSize = "normal", paper: PaperName = "a4", **options: Any) -> Path:
    target = tmp_path / "labels.pdf"
    labels = [PrintedLabel(one, size) for one in ids]
    write_labels(LabelSheets(own_layouts(paper, labels), **options), target)
    return target


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("size", ["normal", "small"])
def test_every_printed_label_decodes(tmp_path: Path, paper: PaperName, size: LabelSize) -> None:
    ids = [*expand_ids(["B001..B030"]), "A", "0123456789ABCDEF", "Z-/.:9", "PLATE-7.3/B:2"]
    target = write(tmp_path, ids, size, paper, with_guide=False)
    assert sorted(text for page in pages(target) for text in decoded(page)) == sorted(ids)


@pytest.mark.parametrize(("paper", "width_mm", "height_mm"), [("a4", 210, 297), ("letter", 215.9, 279.4)])
def test_a_page_has_the_size_of_its_paper(tmp_path: Path, paper: PaperName, width_mm: float, height_mm: float) -> None:
    with pypdfium2.PdfDocument(write(tmp_path, ["A1"], paper=paper)) as document:
        for page in document:
            assert np.array(page.get_size()) * 25.4 / 72 == pytest.approx([width_mm, height_mm], abs=0.05)


def extent_mm(dark: np.ndarray) -> tuple[float, float, float, float]:
    """Left, top, width and height of the True part."""
    rows, columns = np.nonzero(dark)
    left, top = columns.min(), rows.min()
    return tuple(v / PX_PER_MM for v in (left, top, columns.max() + 1 - left, rows.max() + 1 - top))


@pytest.mark.parametrize("size", ["normal", "small"])
def test_the_printed_geometry_is_that_of_version_1(tmp_path: Path, size: LabelSize) -> None:
    scale = 1.0 if size == "normal" else 0.5
    ids = ["B001", "B002", "B003", "B004"]
    target = write(tmp_path, ids, size, cut_marks=False, with_guide=False)
    page = pages(target)[0].squeeze()
    labels = [PrintedLabel(one, size) for one in ids]
    ((layout, _),) = own_layouts("a4", labels)
    for place in range(len(ids)):
        left, top = layout.place_mm(place, size)
        at = slice(round(top * PX_PER_MM), round((top + 40 * scale) * PX_PER_MM))
        across = slice(round(left * PX_PER_MM), round((left + 60 * scale) * PX_PER_MM))
        label = page[at, across]
        code = label[:, : round(36 * scale * PX_PER_MM)]
        wanted = (CODE[0] * scale, CODE[1] * scale, CODE[2] * scale, CODE[2] * scale)
        assert extent_mm(code < 128) == pytest.approx(wanted, abs=AGREES_MM)
        for patch_left, patch_top, srgb in PATCHES:
            near = np.full(label.shape, False)
            rows = slice(round((patch_top - 0.9) * scale * PX_PER_MM), round((patch_top + 8.9) * scale * PX_PER_MM))
            columns = slice(
                round((patch_left - 0.4) * scale * PX_PER_MM), round((patch_left + 8.4) * scale * PX_PER_MM)
            )
            near[rows, columns] = np.abs(label[rows, columns].astype(int) - srgb) < (255 - srgb) / 2
            wanted = (patch_left * scale, patch_top * scale, 8 * scale, 8 * scale)
            assert extent_mm(near) == pytest.approx(wanted, abs=AGREES_MM)
            middle = label[round((patch_top + 4) * scale * PX_PER_MM), round((patch_left + 4) * scale * PX_PER_MM)]
            assert int(middle) == srgb
        printed_id = label[: round(12.5 * scale * PX_PER_MM), round(36 * scale * PX_PER_MM) :] < 128
        id_left, id_top, id_width, id_height = extent_mm(printed_id)
        id_left += 36 * scale
        assert id_left > 40 * scale - AGREES_MM
        assert id_left + id_width < 58 * scale + AGREES_MM
        assert id_top > 3 * scale - AGREES_MM
        assert id_top + id_height < 11 * scale + AGREES_MM


def test_the_ruler_has_its_stated_length(tmp_path: Path) -> None:
    page = pages(write(tmp_path, ["A1"], with_guide=False))[0].squeeze()
    ruler_row = round((297 - 7.0) * PX_PER_MM)
    longest = max(run_lengths(row) for row in page[ruler_row - 5 : ruler_row + 6] < 128)
    assert longest / PX_PER_MM == pytest.approx(100, abs=AGREES_MM)


def run_lengths(row: np.ndarray) -> int:
    """Length of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]]).astype(int)))
    return max((edges[1::2] - edges[::2]).tolist(), default=0)


@pytest.mark.parametrize("size", ["normal", "small"])
def test_the_program_reads_a_printed_page_like_a_photo_of_labels(tmp_path: Path, size: LabelSize) -> None:
    page = np.ascontiguousarray(pages(write(tmp_path, ["J001", "J002", "J003"], size, with_guide=False))[0].squeeze())
    labels = sorted(find_labels(page), key=lambda one: str(one.text))
    assert [label.text for label in labels] == ["J001", "J002", "J003"]
    for label in labels:
        settled = settle_label(page, label, LABELS[size])
        assert settled.px_per_mm(LABELS[size]) == pytest.approx(PX_PER_MM, rel=0.01)
        white = white_at_label(np.repeat(page[..., None], 3, axis=2), settled, LABELS[size])
        # Paper white is full scale on the page, so the patches must give that.
        assert white == pytest.approx([1.0] * 3, rel=0.02)


def test_labels_lie_centred_on_ready_made_stickers_and_used_places_are_skipped(tmp_path: Path) -> None:
    """3 columns of 7 stickers, 70 x 42.3 mm, without gaps on A4: a common size."""
    layout = sticker_layout("a4", {"normal"}, rows=7, columns=3, left_mm=0, top_mm=0.45)
    assert (layout.cell_width_mm, layout.cell_height_mm) == pytest.approx((70, 42.3))
    assert layout.place_mm(4, "normal") == pytest.approx((75, 0.45 + 42.3 + 1.15))
    target = tmp_path / "stickers.pdf"
    ids = expand_ids(["B001..B021"])
    labels = [PrintedLabel(one, "normal") for one in ids]
    pages_written = write_labels(LabelSheets([(layout, labels)], first_place=4, cut_marks=False), target)
    first, second, guide = pages(target)
    assert pages_written == 3
    assert sorted(decoded(first) + decoded(second)) == ids
    assert len(decoded(first)) == 17
    assert first[: round(42 * PX_PER_MM)].min() == 255
    assert decoded(guide) == []


def test_a_label_larger_than_the_sticker_is_refused() -> None:
    with pytest.raises(ValueError, match=r"a normal label is 60 x 40 mm; a sticker of this sheet is 48.5 x 25.4 mm"):
        sticker_layout("a4", {"normal"}, rows=11, columns=4, left_mm=8, top_mm=8.8)


def test_cut_marks_stay_outside_the_label(tmp_path: Path) -> None:
    plain, marked = (pages(write(tmp_path, ["A", "B"], cut_marks=on, with_guide=False))[0] for on in (False, True))
    ((layout, _),) = own_layouts("a4", [PrintedLabel("A", "normal")])
    assert (plain != marked).any()
    for place in range(2):
        left, top = layout.place_mm(place, "normal")
        rows = slice(round(top * PX_PER_MM), round((top + 40) * PX_PER_MM))
        columns = slice(round(left * PX_PER_MM), round((left + 60) * PX_PER_MM))
        assert (plain[rows, columns] == marked[rows, columns]).all()


def test_the_key_lists_the_place_of_each_label_and_shows_names_as_text(tmp_path: Path) -> None:
    odd = Vessel(
        "P1",
        "plate",
        datetime(2026, 3, 1, tzinfo=UTC),
        species="<b>a&b</b>",
        substrate="=1+1 שלום",
        batch="x\N{RIGHT-TO-LEFT OVERRIDE}y\x07",
    )
    labels = labels_of_vessels([odd, Vessel("B1", "bag", datetime(2026, 3, 1, tzinfo=UTC), label_size="small")])
    assert [label.size for label in labels] == ["small", "small"]
    target = tmp_path / "labels.pdf"
    write_labels(LabelSheets(own_layouts("a4", labels), title="<script>"), target)
    said = words(target)
    assert "Which label goes where: <script>" in said
    assert "<b>a&b</b>" in said
    assert "=1+1 " in said
    assert any(word in said for word in ("שלום", "םולש"))  # the renderer may return it in reading order
    assert "\N{RIGHT-TO-LEFT OVERRIDE}" not in said
    assert "on the face, top middle" in said
    assert "below it, in the middle" in said
