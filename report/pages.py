"""The pages of a large report: files in a folder, each with the faces and curves of some vessels, batch by batch."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from farm.lists import BatchView, TodayItem, batch_views
from farm.outlook import readings_of
from farm.pictures import PictureSizes, vessel_pictures
from farm.store import Farm, is_output_folder, output_folder
from farm.store.errors import OutputFolderError
from report.batch_cards import batch_of
from report.cards import Card, day_of, make_card
from report.cautions import CAUTIONS
from report.templating import fill_template

#: Up to this many vessels a report is one page (about 20 MB); and vessels per page of a larger report.
ONE_PAGE, A_PAGE = 500, 200
SMALL = PictureSizes(face_px=208, frame_px=80, frames=5, quality=66)


def cards_of(farm: Farm, items: Sequence[TodayItem], sizes: PictureSizes, *, workers: int = 1) -> dict[str, Card]:
    """The card of each item, with its pictures, by vessel id."""
    known = readings_of(farm, [item.outlook.vessel.id for item in items])
    series = {vessel: readings.series for vessel, readings in known.items()}
    shown = {vessel: readings.pictured for vessel, readings in known.items()}
    pictures = vessel_pictures(farm, shown, sizes, workers=workers)
    return {
        vessel: make_card(farm, item, series[vessel], pictures[vessel])
        for item in items
        for vessel in [item.outlook.vessel.id]
    }


def write_pages(
    farm: Farm, items: Sequence[TodayItem], front: Path, folder: Path, *, workers: int = 1
) -> dict[str, Card]:
    """The cards by vessel id, without pictures, after writing the pages; only one page is held in memory at a time.

    Raises OutputFolderError if the folder contains files that this program did not write.
    """
    if folder.is_dir() and not is_output_folder(folder) and any(folder.iterdir()):
        raise OutputFolderError(f"{folder} holds other files: give the report another name")
    output_folder(folder)
    pages = list(_parts(batch_views(farm, items)))
    light: dict[str, Card] = {}
    for number, views in enumerate(pages, start=1):
        name = f"{number:03}.html"
        made = cards_of(farm, [item for view in views for item in view.items], SMALL, workers=workers)
        html = fill_template(
            "vessels.html",
            farm=farm.folder.resolve().name,
            as_of=day_of(farm.now, farm, with_time=True),
            number=number,
            n_pages=len(pages),
            front=f"../{front.name}",
            batches=[batch_of(farm, view, made) for view in views],
            has_suspects=any(card.suspects for card in made.values()),
            cautions=CAUTIONS,
            is_short=True,
        )
        (folder / name).write_text(html, "utf-8")
        for vessel, card in made.items():
            light[vessel] = replace(card, face="", overlay="", strip=(), page=f"{folder.name}/{name}")
    return light


def clear_pages(folder: Path) -> None:
    """Remove the pages of an earlier report; files of other origin stay."""
    if not is_output_folder(folder):
        return
    for page in folder.glob("[0-9][0-9][0-9].html"):
        page.unlink()


def _parts(views: Sequence[BatchView]) -> Iterator[list[BatchView]]:
    """The batches of each page; a batch that does not fit is continued on the next page."""
    page: list[BatchView] = []
    room = A_PAGE
    for view in views:
        left = view.items
        while left:
            if room == 0:
                yield page
                page, room = [], A_PAGE
            page.append(replace(view, items=left[:room]))
            left, room = left[room:], max(0, room - len(left))
    if page:
        yield page
