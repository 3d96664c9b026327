"""`spawnrun demo`: the main job on an invented farm, from photos to a ready list."""

from dataclasses import dataclass
from datetime import datetime
from importlib.resources import as_file, files
from pathlib import Path
from typing import Annotated

import typer

from cli.options import Format, WorkersOption
from cli.progress import progress_bar
from cli.ready import print_today
from cli.render import Column, echo, print_list
from farm.fruiting import import_harvests
from farm.lists import day_before, today_and_changes
from farm.measure import RunOptions, measure_paths
from farm.outlook import bring_up_to_date
from farm.records import import_events, import_vessels, list_readings
from farm.store import Farm, day_words, on_farm_clock, span_words
from farm.study import Agreement, DayAgreement, compare_days, compare_with_truth, mean_error_of
from farm.upkeep import make_demo_farm
from farm.workers import all_cores
from report import STATUS_WORDS, write_report

COLUMNS = (
    Column("vessel", lambda one: one["vessel"]),
    Column("read", lambda one: "" if one["read"] is None else f"{one['read']:.1f}", right=True),
    Column("truth", lambda one: f"{one['truth']:.1f}", right=True),
    Column("photos read", lambda one: f"{one['n_read']} of {one['n_photos']}", right=True),
    Column("mean error", lambda one: "" if one["mean_error"] is None else f"{one['mean_error']:.1f}", right=True),
    Column(
        "contaminated",
        lambda one: f"in {one['contaminated_in']}, flagged in {one['flagged_in']}" * bool(one["contaminated_in"]),
    ),
    Column("false flags", lambda one: str(one["false_flags"] or "")),
)

DAYS = (
    Column("vessel", lambda one: one["vessel"]),
    Column("forecast", lambda one: one["forecast"] or STATUS_WORDS[one["status"]]),
    Column("80 % sure", lambda one: one["sure"]),
    Column("truth", lambda one: one["truth"] or f"never: {one['fate']}"),
    Column("interval", lambda one: {True: "holds it", False: "misses it", None: ""}[one["held"]]),
)


def demo(
    folder: Annotated[Path, typer.Argument(metavar="[DIR]", help="Where to put the farm.")] = Path("demo-farm"),
    replace: Annotated[bool, typer.Option("--replace", help="Replace a demo farm that is there already.")] = False,
    workers: WorkersOption = None,
) -> None:
    """Try it: an invented farm of bags, jars and plates, from its photos to a ready list and a report.

    The photos are rendered, the grower is invented, and the truth is known: both are printed side by side.

    Example: spawnrun demo demo-farm
    """
    with as_file(files("sample_images")) as samples:
        farm = make_demo_farm(folder, samples, replace=replace)
    with farm:
        import_vessels(farm, folder / "vessels.csv")
        import_events(farm, folder / "events.csv")
        import_harvests(farm, folder / "harvests.csv")
        with progress_bar() as progress:
            measure_paths(farm, [folder / "photos"], RunOptions(workers=workers or all_cores(), on_progress=progress))
        _print_agreement(compare_with_truth(list_readings(farm), folder / "truth.csv"))
        echo("")
        print_today(farm)
        echo("\nColonised through: the forecast day beside the true day (invented and rendered)\n")
        print_list(
            _days(farm, compare_days(bring_up_to_date(farm), folder / "truth_days.csv", farm.zone)), DAYS, Format.table
        )
        echo(f"\nreport: {_write(farm).resolve()}")


def _write(farm: Farm) -> Path:
    since = day_before(farm)
    items, changes = today_and_changes(farm, since)
    return write_report(farm, items, farm.folder / "report.html", changes=changes, since=since)


@dataclass(frozen=True)
class DayRecord:
    """The forecast day of a vessel beside the true one, as texts. sure: the 80 % interval; held: it has the truth."""

    vessel: str
    forecast: str
    sure: str
    truth: str
    held: bool | None
    status: str
    fate: str


def _days(farm: Farm, compared: list[DayAgreement]) -> list[DayRecord]:
    def clock(instant: datetime | None) -> datetime | None:
        return None if instant is None else on_farm_clock(instant, farm.zone)

    year = on_farm_clock(farm.now, farm.zone).year
    return [
        DayRecord(
            vessel=one.vessel,
            forecast=day_words(clock(one.forecast.median)),
            sure=span_words(clock(one.forecast.low), clock(one.forecast.high), year),
            truth=day_words(clock(one.truth)),
            held=one.held,
            status=one.status,
            fate=one.fate,
        )
        for one in compared
    ]


def _print_agreement(agreements: list[Agreement]) -> None:
    echo("Readings beside the truth (invented and rendered, so it is known); percent in the newest photo:\n")
    print_list(agreements, COLUMNS, Format.table)
    if (mean := mean_error_of(agreements)) is not None:
        n_read = sum(one.n_read for one in agreements)
        echo(f"\nmean error over {n_read} readings: {mean:.1f} points")
