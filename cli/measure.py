"""`spawnrun measure`: photos in, readings out."""

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer

from cli import exits
from cli.options import FarmOption, Format, FormatOption, KindName, WorkersOption, chosen_farm
from cli.printed_readings import print_readings
from cli.printed_vessels import reading_record
from cli.progress import progress_bar
from cli.render import as_command, say
from farm.measure import MeasuredPhoto, RunOptions, measure_paths, read_layout, watch_folder
from farm.pictures import check_class_map_folder, write_class_maps
from farm.records import import_events, import_vessels
from farm.store import Farm, create_farm, find_farm
from farm.store.errors import NotAFarmError, NothingToMeasureError
from farm.workers import all_cores, cluster_executor


def measure(
    paths: Annotated[list[Path], typer.Argument(metavar="PATHS", help="Photos, or folders with photos.")],
    folder: FarmOption = None,
    vessels: Annotated[
        Path | None, typer.Option("--vessels", metavar="FILE", help="Without a farm: a vessels.csv to know them by.")
    ] = None,
    events: Annotated[
        Path | None, typer.Option("--events", metavar="FILE", help="With --vessels: an events.csv (shakes).")
    ] = None,
    kind: Annotated[
        KindName | None, typer.Option("--kind", help="What an unlabelled photo of no known vessel shows.")
    ] = None,
    layout: Annotated[
        Path | None,
        typer.Option("--layout", metavar="FILE", help="Fixed camera: CSV of vessel,left,top,width,height in pixels."),
    ] = None,
    classes: Annotated[
        Path | None, typer.Option("--classes", metavar="DIR", help="Write class maps and overlays to look at.")
    ] = None,
    watch: Annotated[
        bool, typer.Option("--watch", help="Stay, and measure each new photo in a folder when its copy is complete.")
    ] = False,
    again: Annotated[bool, typer.Option("--again", help="Measure also photos that the farm knows.")] = False,
    workers: WorkersOption = None,
    scheduler: Annotated[
        str | None,
        typer.Option("--scheduler", metavar="ADDRESS", help="Measure on a Dask cluster, such as tcp://10.0.0.5:8786."),
    ] = None,
    send_photos: Annotated[
        bool, typer.Option("--send-photos", help="With --scheduler: its workers do not see the photos; send them.")
    ] = False,
    style: FormatOption = Format.table,
) -> None:
    """Measure photos: which vessels are in them, how far colonised, and what looks wrong.

    JPEG, PNG, WebP, HEIC and TIFF; folders are searched downwards. A vessel is known by its label, by a folder or
    file name that begins with its id, or by its place in a layout. In a farm, a photo it has seen is not counted twice,
    and of more than 40 readings the table has only what may be mould, is unknown, or is to be photographed again.

    \b
    Examples: spawnrun measure photos/ --farm my-farm
              spawnrun measure photos/ --vessels vessels.csv --format json
              spawnrun measure bag.jpg --kind bag --classes look/
              spawnrun measure --watch ~/phone --farm my-farm     (Ctrl-C ends it)
              spawnrun measure /shared/photos --farm my-farm --scheduler tcp://10.0.0.5:8786
    """  # noqa: D301 - the mark that keeps lines as they are
    if send_photos and scheduler is None:
        raise typer.BadParameter("goes with --scheduler", param_hint="--send-photos")
    if classes is not None:
        check_class_map_folder(classes)
    with (
        _farm_to_use(folder, vessels, events, has_kind=kind is not None) as farm,
        nullcontext((None, workers or all_cores())) if scheduler is None else cluster_executor(scheduler) as crew,
    ):
        executor, n_workers = crew
        options = RunOptions(
            kind=None if kind is None else kind.value,
            regions={} if layout is None else read_layout(layout),
            again=again,
            workers=n_workers,
            executor=executor,
            send_photos=send_photos,
        )
        # Readings of a farm that ends with the command are followed by nothing.
        is_kept = vessels is None and (folder is not None or not _outside_a_farm())
        next_command = as_command("ready", farm=farm) if is_kept else ""
        measure_round = partial(
            _measure_round, farm, options=options, classes=classes, style=style, next_command=next_command
        )
        is_all_read = _watch(paths, measure_round) if watch else measure_round(paths)
    if not is_all_read:
        raise typer.Exit(exits.PARTIAL)


def _measure_round(
    farm: Farm, paths: Sequence[Path], options: RunOptions, classes: Path | None, style: Format, next_command: str
) -> bool:
    """Measure and print; whether every photo gave a reading. next_command: "" where no farm keeps the readings."""
    with progress_bar() as progress:
        photos = measure_paths(farm, paths, replace(options, on_progress=progress))
        if classes is not None:
            write_class_maps(farm, photos, classes, workers=min(options.workers, all_cores()))
    # A table is for people, who know the others: programs get the readings of all.
    listed = [photo for photo in photos if style is not Format.table or photo.is_new or not photo.is_read]
    records = [
        reading_record(reading, farm.zone)
        for photo in listed
        for reading in sorted(photo.readings, key=lambda one: (one.vessel is None, one.vessel or "", one.slot))
    ]
    print_readings(records, farm, style, may_be_brief=bool(next_command))
    _print_notes(photos, style)
    if known := len(photos) - len(listed):
        say(f"known already and not listed again: {_counted(known, 'photo')}; `--format json` has all")
    _print_kind_note(photos, options)
    if next_command and style is Format.table:
        say(f"next: {next_command}")
    sys.stdout.flush()
    return all(photo.is_read for photo in photos)


def _watch(paths: Sequence[Path], measure_round: Callable[[Sequence[Path]], bool]) -> bool:
    """Measure photos as they arrive in a folder, until Ctrl-C; whether every photo gave a reading."""
    if len(paths) != 1:
        raise typer.BadParameter("takes one folder", param_hint="--watch")
    are_read = []
    say(f"watching {paths[0]}; Ctrl-C ends it")
    with suppress(KeyboardInterrupt):
        for some in watch_folder(paths[0]):
            try:
                are_read.append(measure_round(some))
            except NothingToMeasureError as error:  # moved away in the meantime: no reason to stop
                say(str(error))
    say("watching ended")
    return all(are_read)


@contextmanager
def _farm_to_use(folder: Path | None, vessels: Path | None, events: Path | None, *, has_kind: bool) -> Iterator[Farm]:
    """The farm asked for, or one that lasts as long as the command (for --vessels, or --kind outside a farm)."""
    if vessels is not None and folder is not None:
        raise typer.BadParameter(
            "a farm has its vessels: `spawnrun vessel import` adds to them", param_hint="--vessels"
        )
    if vessels is None and events is not None:
        raise typer.BadParameter("goes with --vessels; in a farm, see `spawnrun event`", param_hint="--events")
    if vessels is None and not (folder is None and has_kind and _outside_a_farm()):
        if folder is None and _outside_a_farm():
            raise NotAFarmError(
                f"no farm in {Path.cwd()} or above it: give --farm DIR; or measure without, by --vessels or --kind"
            )
        with chosen_farm(folder) as farm:
            yield farm
        return
    with TemporaryDirectory(prefix="spawnrun-") as home, create_farm(Path(home)) as farm:
        if vessels is not None:
            import_vessels(farm, vessels)
        if events is not None:
            import_events(farm, events)
        yield farm


def _outside_a_farm() -> bool:
    try:
        find_farm(Path.cwd()).close()
    except NotAFarmError:
        return True
    return False


def _print_notes(photos: Sequence[MeasuredPhoto], style: Format) -> None:
    n_new = sum(photo.is_new for photo in photos)
    readings = [reading for photo in photos for reading in photo.readings]
    if style is Format.table:
        n_ok = sum(reading.status == "ok" for reading in readings)
        counts = f"{_counted(len(photos), 'photo')}, {n_new} new; {_counted(n_ok, 'reading')}"
        say(f"{counts}, {len(readings) - n_ok} without a percent")
    undated = sorted(
        {reading.photo for reading in readings if reading.taken_from == "file time" and reading.percent is not None}
    )
    if undated:
        have = "photo has" if len(undated) == 1 else "photos have"
        say(f"warning: {len(undated)} {have} no date; the file's own time was taken (first: {undated[0]})")


def _print_kind_note(photos: Sequence[MeasuredPhoto], options: RunOptions) -> None:
    """That --kind does not read again what the farm knows."""
    if options.kind is None:
        return
    known = sum(not photo.is_new and not photo.is_read for photo in photos)
    if known and not options.again:
        them = "it" if known == 1 else "them"
        say(f"{_counted(known, 'photo')} without a percent had been read before: --again reads {them} with --kind")


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
