"""`spawnrun export`: the farm's tables for other programs."""

from pathlib import Path
from typing import Annotated

import typer

from cli.options import AsOfOption, FarmOption, chosen_farm
from cli.render import echo
from farm.outlook import bring_up_to_date
from report import export_farm


def export(
    target: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Where; else the folder export in the farm.")
    ] = None,
    parquet: Annotated[bool, typer.Option("--parquet", help="Parquet beside CSV; needs the library pyarrow.")] = False,
    as_of: AsOfOption = None,
    folder: FarmOption = None,
) -> None:
    """Write the farm's tables (vessels, readings, suspects, events, harvests, notes, verdicts, forecasts) as files.

    CSV by RFC 4180 in UTF-8; a text that a spreadsheet would take for a formula begins with an apostrophe.
    dictionary.csv says what each column holds. `spawnrun vessel import` takes vessels.csv back.

    Example: spawnrun export --out tables --parquet
    """
    with chosen_farm(folder, as_of) as farm:
        bring_up_to_date(farm)
        for table in export_farm(farm, target or farm.folder / "export", parquet=parquet):
            echo(f"{table.path}: {table.rows} rows")
