"""`spawnrun calibrate`: a camera and its light checked by one photo, and a profile of its colours."""

from pathlib import Path
from typing import Annotated

import typer

from calibration import Edition
from cli.options import FarmOption, Format, FormatOption, LabelSizeName, chosen_farm
from cli.render import Column, print_list, say, visible
from farm.records import CAMERAS_FILE, list_vessels, update_profile
from farm.store import Farm, iso, now
from farm.store.errors import NotAFarmError
from farm.study import Calibration, calibrate_camera

COLUMNS = (
    Column("check", lambda one: one["check"]),
    Column("", lambda one: "" if one["fine"] else "change"),
    Column("says", lambda one: one["says"]),
)


def calibrate(
    photo: Annotated[
        Path, typer.Argument(metavar="PHOTO", help="Of a sheet of labels, of a colour chart, or of both.")
    ],
    label_size: Annotated[
        LabelSizeName, typer.Option("--label-size", help="Of labels that are on no vessel of the farm.")
    ] = LabelSizeName.normal,
    old_chart: Annotated[bool, typer.Option("--old-chart", help="The chart was made before November 2014.")] = False,
    keep: Annotated[bool, typer.Option("--keep/--no-keep", help="Keep the profile in the farm.")] = True,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """Check a camera and its light by one photo: scale, sharpness, smallest readable label, light, tone, colour.

    Fill the frame with a printed sheet of labels or with the shelf itself, square on, from where you will stand; for
    colour, put a standard 24-patch colour chart into the picture too. Where a profile of the camera's colours is worth
    using (by make and model as in its photos), the farm keeps it in cameras.json, and `spawnrun measure` uses it from
    then on; `measure --again` measures known photos again with it.

    Example: spawnrun calibrate sheet.jpg --farm my-farm
    """
    edition: Edition = "before_2014" if old_chart else "since_2014"
    farm = _farm(folder)
    try:
        vessels = [] if farm is None else list_vessels(farm)
        found = calibrate_camera(photo, vessels, label_size=label_size.value, edition=edition, made_at=iso(now(), None))
        print_list(found.findings, COLUMNS, style)
        if keep:
            say(_kept(farm, found))
    finally:
        if farm is not None:
            farm.close()


def _farm(folder: Path | None) -> Farm | None:
    try:
        return chosen_farm(folder)
    except NotAFarmError:
        if folder is not None:
            raise
        return None


def _kept(farm: Farm | None, found: Calibration) -> str:
    """Keep what is worth keeping, and say what became of it."""
    camera = visible(found.camera)
    if found.profile is None:
        return "no profile: greys alone show no colours; put a 24-patch colour chart into the picture"
    if not found.camera:
        return "no profile kept: the photo does not say which camera took it"
    if farm is None:
        return f"no profile of {camera} kept: no farm here; give --farm DIR"
    done = update_profile(farm, found.profile)
    return {
        "kept": f"profile of {camera} kept in {farm.folder / CAMERAS_FILE}; `measure` uses it from now on",
        "forgotten": f"{camera} needs no profile (any more): the earlier one is forgotten",
        "not needed": f"{camera} needs no profile: its photos are measured as they are",
    }[done]
