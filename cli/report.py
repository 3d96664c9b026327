"""`spawnrun report`: one page to look at, offline, on a phone too."""

from pathlib import Path
from typing import Annotated

import typer

from cli.options import AsOfOption, FarmOption, chosen_farm, instant
from cli.printed_lists import ReportRecord, batch_record, change_record, today_record
from cli.render import as_dict, echo, print_json
from farm.lists import batch_views, day_before, today_and_changes
from farm.store import iso
from farm.workers import all_cores
from report import write_report


def report(
    target: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Where; else report.html in the farm.")
    ] = None,
    since: Annotated[
        str | None, typer.Option("--since", metavar="TIME", help="Report what changed from then on; else the last day.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Also print the page's facts as JSON.")] = False,
    as_of: AsOfOption = None,
    folder: FarmOption = None,
) -> None:
    """Write one HTML file: what changed, today's list, all vessels to sort and filter, batches, faces and curves.

    It opens without a network, on a phone too, and prints.

    Example: spawnrun report --out today.html --since 2026-03-09
    """
    with chosen_farm(folder, as_of) as farm:
        begin = instant(since, farm, "--since") or day_before(farm)
        items, changes = today_and_changes(farm, begin)
        written = write_report(
            farm,
            items,
            target or farm.folder / "report.html",
            changes=changes,
            since=begin,
            workers=all_cores(),
        )
        if as_json:
            facts = ReportRecord(
                farm=farm.folder.resolve().name,
                as_of=iso(farm.now, farm.zone),
                since=iso(begin, farm.zone),
                changes=tuple(change_record(one, farm.zone) for one in changes),
                vessels=tuple(today_record(item, farm.zone) for item in items),
                batches=tuple(batch_record(view, farm.zone) for view in batch_views(farm, items)),
            )
            print_json(as_dict(facts))
    echo(f"report: {written}", err=as_json)
