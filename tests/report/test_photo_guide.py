"""The photo guide: its numbers against geometry done by hand, and the copy in docs/ against the printed one."""

from math import atan, degrees
from pathlib import Path

import pypdfium2
import pytest

from calibration import vessel_kinds
from calibration.label import LabelSize
from farm.store import Units
from report import Camera, LabelSheets, PrintedLabel, own_layouts, photo_guide, write_labels
from report.guide import widest_view

ROOT = Path(__file__).parents[2]


def test_the_view_of_a_common_lens() -> None:
    """A 28 mm lens on 36 x 24 mm sees 65.5 degrees across (tan of its half is 36 / 28 / 2; a handbook figure)."""
    camera = Camera(width_px=6000, height_px=4000, focal_35mm=28)
    assert 2 * degrees(atan(camera.width_per_distance / 2)) == pytest.approx(65.5, abs=0.1)


def test_twelve_megapixels_suffice_for_a_shelf_of_1_6_m() -> None:
    view = widest_view(Camera(), "normal")
    assert (view.width_m, view.height_m) == (1.6, 1.2)
    assert view.px_per_mm == pytest.approx(2.5)
    # Width of a 4:3 frame of the same diagonal as 36 x 24 mm is 34.6 mm: 1.6 m x 26 / 34.6.
    assert view.distance_m == pytest.approx(1.20, abs=0.005)
    # Seven bags of 180 mm with six gaps of 40 mm are 1.5 m; eight are 1.72 m.
    assert view.across(vessel_kinds()["bag"]) == 7


def test_a_module_has_three_pixels_in_the_widest_view() -> None:
    sizes: dict[LabelSize, float] = {"normal": 1.3, "small": 0.65}
    for size, module_mm in sizes.items():
        for width in (1600, 4000, 8000):
            view = widest_view(Camera(width, width * 3 // 4), size)
            assert view.px_per_mm * module_mm >= 3


def test_the_guide_uses_the_given_camera() -> None:
    text = dict(photo_guide(Camera(8160, 6144, 24)))
    assert "50 megapixels (8160 x 6144)" in text["Distance"]
    assert "3.35 x 2.52 m of shelf" in text["Distance"]


def test_the_guide_in_docs_equals_the_printed_one() -> None:
    written = " ".join((ROOT / "docs" / "guide-photos.md").read_text("utf-8").split())
    for heading, text in photo_guide():
        assert f"**{heading}.** {text}" in written


def test_with_inches_the_guide_uses_feet() -> None:
    """A foot is 12 inches of 25.4 mm."""
    metric, imperial = (dict(photo_guide(units=one))["Distance"] for one in (Units(), Units(lengths="inches")))
    view = widest_view(Camera(), "normal")
    assert f"{view.width_m:g} x {view.height_m:g} m of shelf" in metric
    assert f"{view.width_m / 0.3048:.1f} x {view.height_m / 0.3048:.1f} ft of shelf" in imperial
    assert f"that is {view.distance_m / 0.3048:.1f} ft" in imperial


def test_the_guide_has_three_drawings_with_the_distance(tmp_path: Path) -> None:
    target = tmp_path / "labels.pdf"
    write_labels(LabelSheets(own_layouts("a4", [PrintedLabel("B001", "normal")])), target)
    document = pypdfium2.PdfDocument(target)
    page = document[len(document) - 1]
    text = page.get_textpage().get_text_range()
    for title in ("Square on, at mid-height", "Lamps at the sides", "Plates and tubs: from straight above"):
        assert title in text
    far = f"{widest_view(Camera(), 'normal').distance_m:.1f} m"
    assert f"{far} shelf" in text, "both stand below the first drawing"
    drawn = [one for one in page.get_objects() if one.type == pypdfium2.raw.FPDF_PAGEOBJ_PATH]
    assert len(drawn) > 60
    width, height = page.get_size()
    boxes = [one.get_bounds() for one in drawn]
    assert all(left >= 0 and right <= width and low >= 0 and top <= height for left, low, right, top in boxes)
