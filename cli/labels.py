"""`spawnrun labels`: sheets of labels to print, with the photo guide."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from calibration import BACK_SUFFIX, LabelSize, vessel_and_side
from cli.options import FarmOption, LabelSizeName, chosen_farm
from cli.render import echo, say
from farm.records import expand_ids, list_vessels
from farm.records.models import Vessel
from farm.store import Units
from farm.store.errors import NotAFarmError
from report import (
    Camera,
    LabelSheets,
    PaperName,
    PrintedLabel,
    SheetLayout,
    labels_of_vessels,
    own_layouts,
    sticker_layout,
    with_backs,
    write_labels,
)

#: The number of ids that the farm does not know that are named.
_MOST_NAMED = 10


class Paper(StrEnum):
    """Papers that sheets are laid out for."""

    a4 = "a4"
    letter = "letter"


def labels(
    ids: Annotated[
        list[str] | None,
        typer.Argument(metavar="[IDS]", help="Ids, or sequences such as B001..B030; else every running vessel."),
    ] = None,
    target: Annotated[Path, typer.Option("--out", metavar="FILE.pdf", help="Where.")] = Path("labels.pdf"),
    paper: Annotated[Paper, typer.Option("--paper", help="What is in the printer.")] = Paper.a4,
    size: Annotated[
        LabelSizeName, typer.Option("--size", help="Of ids that the farm does not know; its vessels have theirs.")
    ] = LabelSizeName.normal,
    back: Annotated[
        bool, typer.Option("--back", help="After each, one for the vessel's back: its id and /BACK (bags, blocks).")
    ] = False,
    copies: Annotated[int, typer.Option("--copies", min=1, max=100, help="Of each label, side by side.")] = 1,
    rows: Annotated[int | None, typer.Option("--rows", min=1, max=60, help="Of a bought sticker sheet.")] = None,
    columns: Annotated[int | None, typer.Option("--columns", min=1, max=30, help="Of a bought sticker sheet.")] = None,
    left_mm: Annotated[float, typer.Option("--left-mm", min=0, max=100, help="Paper's edge to first sticker.")] = 0.0,
    top_mm: Annotated[float, typer.Option("--top-mm", min=0, max=100, help="Paper's edge to first sticker.")] = 0.0,
    gap_across_mm: Annotated[float, typer.Option("--gap-across-mm", min=0, max=50, help="Between columns.")] = 0.0,
    gap_down_mm: Annotated[float, typer.Option("--gap-down-mm", min=0, max=50, help="Between rows.")] = 0.0,
    skip: Annotated[int, typer.Option("--skip", min=0, help="Places of the first page that are used up.")] = 0,
    guide: Annotated[bool, typer.Option("--guide/--no-guide", help="Key of the labels, and the photo guide.")] = True,
    camera_photo: Annotated[
        Path | None,
        typer.Option("--camera-photo", metavar="PHOTO", help="Any of your camera's: the guide is for it then."),
    ] = None,
    folder: FarmOption = None,
) -> None:
    """Write a PDF of labels to print, with a key of which goes where and a page on how to photograph.

    Print on matte white stickers at actual size (100 %), and check the ruler on the sheet. Without --rows and
    --columns the labels are laid out to be cut, with cut marks; with them they stand in the middle of the stickers of
    a bought sheet with equal margins on opposite sides. Ids need not be in the farm yet. With --back a bag can be
    photographed from both sides: readings of front and back within 12 hours count as one of the whole bag.

    \b
    Examples: spawnrun labels --farm my-farm
              spawnrun labels B001..B030 P001..P012 --paper letter --out new.pdf
              spawnrun labels B001..B030 --back
              spawnrun labels B001..B021 --rows 7 --columns 3 --top-mm 0.5 --skip 4
    """  # noqa: D301 - the mark that keeps lines as they are
    wanted, title, units = _wanted(ids or [], size.value, folder)
    if back:
        try:
            wanted = with_backs(wanted)
        except ValueError as error:
            raise typer.BadParameter(str(error), param_hint="--back") from None
    wanted = [label for label in wanted for _ in range(copies)]
    if (rows is None) != (columns is None):
        raise typer.BadParameter("go together", param_hint="--rows and --columns")
    groups: Sequence[tuple[SheetLayout, Sequence[PrintedLabel]]]
    if rows is None or columns is None:
        if left_mm or top_mm or gap_across_mm or gap_down_mm:
            raise typer.BadParameter("a bought sheet needs --rows and --columns too", param_hint="margins and gaps")
        groups = own_layouts(_paper(paper), wanted)
    else:
        try:
            layout = sticker_layout(
                _paper(paper),
                {label.size for label in wanted},
                rows=rows,
                columns=columns,
                left_mm=left_mm,
                top_mm=top_mm,
                gap_across_mm=gap_across_mm,
                gap_down_mm=gap_down_mm,
            )
        except ValueError as error:
            raise typer.BadParameter(str(error), param_hint="--rows and --columns") from None
        groups = [(layout, wanted)]
    if skip >= groups[0][0].places:
        raise typer.BadParameter(f"a page has {groups[0][0].places} places", param_hint="--skip")
    sheets = LabelSheets(
        groups,
        title=title,
        first_place=skip,
        cut_marks=rows is None,
        with_guide=guide,
        camera=_camera(camera_photo),
        units=units,
    )
    pages = write_labels(sheets, target)
    echo(f"labels: {target}, {len(wanted)} on {pages} page{'s' * (pages != 1)}")
    if title:
        _name_strange(wanted)
    say("print at actual size (100 %) on matte white stickers, and check the ruler")


def _name_strange(labels: Sequence[PrintedLabel]) -> None:
    """Say for which ids the farm has no vessel: they may be misspelt."""
    ids = list(dict.fromkeys(one.id.removesuffix(BACK_SUFFIX) for one in labels if one.vessel is None))
    if ids:
        more = f" and {len(ids) - _MOST_NAMED} more" if len(ids) > _MOST_NAMED else ""
        say(f"not in the farm yet: {', '.join(ids[:_MOST_NAMED])}{more}; `spawnrun vessel add` adds them")


def _wanted(texts: Sequence[str], size: LabelSize, folder: Path | None) -> tuple[list[PrintedLabel], str, Units]:
    """The labels asked for; the name of the farm that knows some of them ("" without one), and its units."""
    try:
        ids = expand_ids(texts, new=True)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="IDS") from None
    vessels, title, units = _vessels(folder, needed=not ids)
    running = [vessel for vessel in vessels if vessel.state == "running"]
    if not ids and not running:
        raise typer.BadParameter("no running vessel in the farm: name ids, such as B001..B030", param_hint="IDS")
    known = {label.id: label for label in labels_of_vessels(vessels if ids else running)}
    return [_label(one, known, size) for one in ids] or list(known.values()), title, units


def _label(text: str, known: Mapping[str, PrintedLabel], size: LabelSize) -> PrintedLabel:
    """A label; of a vessel that is known, or of its back, in that vessel's size."""
    vessel, side = vessel_and_side(text, known)
    label = known.get(vessel) or PrintedLabel(text, size)
    return label if side == "front" else replace(label, id=text)


def _vessels(folder: Path | None, *, needed: bool) -> tuple[list[Vessel], str, Units]:
    try:
        with chosen_farm(folder) as farm:
            return list_vessels(farm), farm.folder.resolve().name, farm.units
    except NotAFarmError:
        if needed or folder is not None:
            raise
        return [], "", Units()


def _camera(photo: Path | None) -> Camera:
    """The camera of a photo, or a usual one; the usual lens where the photo does not say which."""
    if photo is None:
        return Camera()
    from vision.pixels import PictureError, load_picture

    try:
        picture = load_picture(photo)
    except PictureError as error:
        raise typer.BadParameter(f"{photo}: {error}", param_hint="--camera-photo") from None
    short, long = sorted(picture.rgb.shape[:2])
    return Camera(long, short, picture.focal_35mm or Camera().focal_35mm)


def _paper(paper: Paper) -> PaperName:
    return paper.value
