"""Today's list on paper, read back by PDFium, which shares no code with the program that wrote it."""

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pypdfium2
import pytest

from farm.lists import TodayItem, list_today
from farm.lists.today import Section
from farm.outlook import list_outlooks
from farm.records import add_vessels, mark_done
from farm.records.models import Vessel
from farm.store import Farm
from report import write_task_sheet
from report.task_sheet import TaskSheetError
from tests.report.test_page import farm as farm
from tests.report.test_page import item

#: Section, number of its vessels, and their action in the list.
MORNING: tuple[tuple[Section, int, str], ...] = (
    ("look", 10, "green patch: confirm or dismiss it"),
    ("ready", 60, "move to fruiting conditions"),
    ("due", 10, "take a photo"),
    ("soon", 80, ""),
    ("later", 40, ""),
)


def morning(n_batches: int = 20, n_shelves: int = 12) -> list[TodayItem]:
    """Two hundred vessels in batches of ten, each on one of two shelves."""
    found: list[TodayItem] = []
    for section, count, action in MORNING:
        for _ in range(count):
            number = len(found)
            one = item(section=section, vessel_id=f"B{number:03}", suspect=section == "look")
            batch = number // 10 % n_batches
            shelf = f"A{1 + (batch + number % 10 // 7) % n_shelves}"
            vessel = replace(one.outlook.vessel, batch=f"BATCH-{batch:02}", shelf=shelf, species="oyster")
            outlook = replace(one.outlook, vessel=vessel)
            found.append(replace(one, outlook=outlook, action=action, marks=(action,) * bool(action)))
    return found


def words(source: Path) -> list[str]:
    document = pypdfium2.PdfDocument(source)
    return [page.get_textpage().get_text_range() for page in document]


def test_two_hundred_vessels_with_their_actions_fit_on_two_pages(farm: Farm, tmp_path: Path) -> None:
    target = tmp_path / "today.pdf"
    n_pages = write_task_sheet(farm, morning(), target)
    pages = words(target)
    assert n_pages == len(pages) <= 2
    text = "\n".join(pages)
    assert all(one.outlook.vessel.id in text for one in morning() if one.action)
    assert not any(one.outlook.vessel.id in text for one in morning() if not one.action)
    assert text.count("Shelf A1\r") + text.count("Shelf A1\n") == 1
    assert "move to fruiting conditions" in text
    assert text.count("do not sniff") == 1
    numbers = [re.findall(r"page \d+ of \d+", page) for page in pages]
    assert numbers == [[f"page {n} of {n_pages}"] if n_pages > 1 else [] for n in range(1, n_pages + 1)]


def test_the_paper_size_follows_from_the_farm_s_units(farm: Farm, tmp_path: Path) -> None:
    """ISO 216: A4 is 210 x 297 mm; ANSI/ASME Y14.1: letter is 8.5 x 11 inches. A point is 1/72 inch."""
    settings = farm.settings.model_copy(update={"units": farm.settings.units.model_copy(update={"lengths": "inches"})})
    for told, size in ((farm, (595.3, 841.9)), (replace(farm, settings=settings), (612.0, 792.0))):
        write_task_sheet(told, morning(), tmp_path / "today.pdf")
        document = pypdfium2.PdfDocument(tmp_path / "today.pdf")
        assert document[0].get_size() == pytest.approx(size, abs=0.1)
        assert len(document) <= 2


def test_a_day_with_nothing_to_do_says_so(farm: Farm, tmp_path: Path) -> None:
    assert write_task_sheet(farm, [one for one in morning() if not one.action], tmp_path / "today.pdf") == 1
    assert "Nothing to do today." in words(tmp_path / "today.pdf")[0]
    assert not re.search(r"page \d", words(tmp_path / "today.pdf")[0])  # there is only one


def test_the_ids_of_a_large_batch_are_abbreviated(farm: Farm, tmp_path: Path) -> None:
    one = morning()[20]
    many = [
        replace(one, outlook=replace(one.outlook, vessel=replace(one.outlook.vessel, id=f"C{number:03}")))
        for number in range(40)
    ]
    write_task_sheet(farm, many, tmp_path / "today.pdf")
    assert "all 40: C000..C039" in words(tmp_path / "today.pdf")[0]
    photos = [replace(one, action="take a photo", section="due") for one in many[:12]]
    write_task_sheet(farm, photos, tmp_path / "today.pdf")
    assert "all 12: C000..C011" in words(tmp_path / "today.pdf")[0]


def test_a_sheet_that_cannot_be_written_is_reported(farm: Farm, tmp_path: Path) -> None:
    (tmp_path / "today.pdf").mkdir()
    with pytest.raises(TaskSheetError, match="cannot be written"):
        write_task_sheet(farm, morning()[:3], tmp_path / "today.pdf")


def test_what_is_to_be_picked_is_printed_with_room_for_the_weight_and_the_caution(farm: Farm, tmp_path: Path) -> None:
    block = Vessel("K001", "block", farm.now - timedelta(days=40), "oyster", "straw")
    add_vessels(farm, [block])
    mark_done(farm, [block], farm.now - timedelta(days=8))
    target = tmp_path / "today.pdf"
    write_task_sheet(farm, list_today(farm, list_outlooks(farm)), target)
    (page,) = words(target)
    assert "harvest flush 1" in page
    assert re.search(r"K001 _+ kg", page)
    assert "Nothing here says that a mushroom is fit to eat" in page
    assert "local food rules." in " ".join(page.split())
    assert "local work-safety rules." in " ".join(page.split())


def with_fifty_to_pick(farm: Farm) -> list[TodayItem]:
    """A morning with 200 vessels on 22 shelves, and 51 blocks that are to be picked on four more."""
    long_ago = farm.now - timedelta(days=40)
    blocks = [
        Vessel(f"K{n:03}", "block", long_ago, "oyster", "straw", batch=f"FRUIT-{n // 13}", shelf=f"F{n // 13}")
        for n in range(51)
    ]
    add_vessels(farm, blocks)
    mark_done(farm, blocks, farm.now - timedelta(days=8))
    return [*list_today(farm, list_outlooks(farm)), *morning(22, 22)]


@pytest.mark.parametrize("lengths", ["cm", "inches"])
def test_a_day_with_fifty_to_pick_fits_on_two_pages_that_can_be_read(farm: Farm, tmp_path: Path, lengths: str) -> None:
    """On A4 and letter; each to pick has its box and room for a weight."""
    units = farm.settings.units.model_copy(update={"lengths": lengths})
    farm = replace(farm, settings=farm.settings.model_copy(update={"units": units}))
    target = tmp_path / "today.pdf"
    n_pages = write_task_sheet(farm, with_fifty_to_pick(farm), target)
    text = "\n".join(words(target))
    assert n_pages == len(words(target)) == 2
    assert len(re.findall(r"K\d{3} _+ kg", text)) == 51
    assert all(one in text for one in ("About suspects.", "About food.", "About spores."))
    sizes = set()
    for page in pypdfium2.PdfDocument(target):
        on_page = page.get_textpage()
        for letter in range(on_page.count_chars()):
            sizes.add(round(pypdfium2.raw.FPDFText_GetFontSize(on_page.raw, letter), 1))
    assert min(size for size in sizes if size > 1) >= 8  # points; PDFium gives the line ends it adds a size of 1


def test_a_shelf_that_goes_on_is_named_again_on_the_next_page(farm: Farm, tmp_path: Path) -> None:
    target = tmp_path / "today.pdf"
    many = [replace(one, action=f"step {number}") for number, one in enumerate(morning(20, 1))]
    assert write_task_sheet(farm, many, target) > 1
    first, second, *_ = words(target)
    assert "Shelf A1, continued" in second
    assert "continued" not in first
