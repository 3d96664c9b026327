"""`spawnrun report`: one page to look at, offline, on a phone too."""

from pathlib import Path
from typing import Annotated

import typer

from cli.options import AsOfOption, FarmOption, chosen_farm, instant
from farm import look_ahead, review_items, today_list
from report import write_report


def report(
    target: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Where; else report.html in the farm.")
    ] = None,
    as_of: AsOfOption = None,
    folder: FarmOption = None,
) -> None:
    """Write one HTML file with today's list and a card for each vessel; it opens without a network.

    Example: spawnrun report --out today.html
    """
    with chosen_farm(folder) as opened:
        farm = opened.at(instant(as_of, opened.zone, "--as-of"))
        outlooks = look_ahead(farm)
        items = today_list(farm, outlooks, review_items(farm, outlooks))
        written = write_report(farm, items, target or farm.folder / "report.html")
    typer.echo(f"report: {written}")
