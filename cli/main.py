"""The command line as a whole: its commands, and what becomes of a failure."""

import errno
import gc
import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from cli import exits
from cli.lazy_commands import LazyCommand, lazy_group
from cli.streams import flushed, mend_streams, nobody_reads

COMMANDS = {
    "demo": LazyCommand(
        "cli.demo:demo",
        "Try it: an invented farm of bags, jars and plates, from its photos to a ready list and a report.",
    ),
    "init": LazyCommand("cli.init:init", "Make a farm folder: a settings file and empty records."),
    "labels": LazyCommand(
        "cli.labels:labels",
        "Write a PDF of labels to print, with a key of which goes where and a page on how to photograph.",
    ),
    "calibrate": LazyCommand(
        "cli.calibrate:calibrate",
        "Check a camera and its light by one photo: scale, sharpness, smallest readable label, light, tone, colour.",
    ),
    "event": LazyCommand(
        "cli.event:event",
        "Note that vessels were shaken (their percent starts again), moved or opened, or bear pins; or take it back.",
    ),
    "done": LazyCommand(
        "cli.done:done",
        "Note that the step of vessels was done: spawned, transferred, moved to fruiting, thrown out, spent.",
    ),
    "harvest": LazyCommand(
        "cli.harvest:harvest",
        "Note what was picked from vessels that fruit: fresh weight, by vessel and day; or take it back.",
    ),
    "measure": LazyCommand(
        "cli.measure:measure", "Measure photos: which vessels are in them, how far colonised, and what looks wrong."
    ),
    "curve": LazyCommand(
        "cli.curve:curve",
        "One vessel's readings and its growth curve with an 80 % band, as a table and as a plot.",
    ),
    "ready": LazyCommand(
        "cli.ready:ready",
        "Today's list: what needs a look, what is ready, what comes in the next days, with what to do next.",
    ),
    "forecast": LazyCommand(
        "cli.forecast:forecast",
        "When will each vessel be colonised through? From a table of percents, without photos or a farm.",
    ),
    "report": LazyCommand(
        "cli.report:report",
        "Write one HTML file: what changed, today's list, all vessels to sort and filter, batches, faces and curves.",
    ),
    "trace": LazyCommand(
        "cli.trace:trace",
        "A vessel's lineage as a tree and as lists, who shares source, batch, day or shelf, "
        "and how such groups differ.",
    ),
    "agree": LazyCommand(
        "cli.agree:agree",
        "How well do the readings agree with your own eye? Bias, usual difference, and where they differ.",
    ),
    "calendar": LazyCommand(
        "cli.calendar:calendar",
        "Write the days on which vessels are ready as a calendar (iCalendar, RFC 5545) to import or subscribe to.",
    ),
    "export": LazyCommand(
        "cli.export:export",
        "Write the farm's tables (vessels, readings, suspects, events, harvests, notes, verdicts, forecasts) as files.",
    ),
    "species": LazyCommand(
        "cli.species:species",
        "What is usual for each species: temperatures, rates, days by kind and substrate, "
        "flushes, colours, with sources.",
    ),
    "plan": LazyCommand(
        "cli.plan:plan",
        "What can be inoculated, and when; what must be sterilised or pasteurised by which day; places and harvests.",
    ),
    "compare": LazyCommand(
        "cli.compare:compare",
        "Species, sources, batches or substrates side by side, kind by kind, each number with its 95 % interval.",
    ),
    "yields": LazyCommand(
        "cli.yields:yields",
        "What was picked, by vessel, batch, strain, species, source, substrate or flush, and how it compares.",
    ),
    "losses": LazyCommand(
        "cli.losses:losses",
        "What became of vessels, by source, batch or another: lost at which stage and why, used, fruited, running.",
    ),
    "backup": LazyCommand(
        "cli.backup:backup",
        "Keep the farm in one file: records, settings, cameras and faces, with a checksum of each.",
    ),
    "restore": LazyCommand("cli.backup:restore", "Restore a farm from a backup, into a folder that has no farm."),
    "check": LazyCommand(
        "cli.check:check", "Find damage in the farm, and say what to do about each: nothing is changed without --mend."
    ),
    "serve": LazyCommand(
        "cli.serve:serve",
        "Serve the farm to a phone: take photos and read the answers, tick today's list, review, look vessels up.",
    ),
    "vessel": LazyCommand("cli.vessel:vessel_app", "The vessels of the farm."),
    "review": LazyCommand(
        "cli.review:review_app",
        "What to review: suspects (colours that may be contamination) and stalls, most urgent first.",
    ),
}
app = typer.Typer(
    name="spawnrun",
    cls=lazy_group(COMMANDS),
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    epilog=exits.EPILOG,
)


def _print_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        typer.echo(f"spawnrun {version('spawnrun')}")
        raise typer.Exit


@app.callback()
def spawnrun(
    show_version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """From photos of grow bags, jars and plates to what is ready, what comes next, and what needs a look.

    \b
    Begin with an invented farm:   spawnrun demo
    Your own:                      spawnrun init my-farm
                                   spawnrun vessel import vessels.csv --farm my-farm
                                   spawnrun measure photos --farm my-farm
                                   spawnrun ready --farm my-farm
    """  # noqa: D301 - the mark that keeps lines as they are


#: New objects between two searches of the memory for circles that nothing else holds. A list makes millions that all
#: stay: with Python's own 700 the search takes a quarter of its time, and finds nothing. Peak memory is the same.
_OBJECTS_BETWEEN_SEARCHES = 1_000_000


def run(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit code; messages go to standard error."""
    gc.set_threshold(_OBJECTS_BETWEEN_SEARCHES)
    try:
        app(list(arguments), prog_name="spawnrun")
    except SystemExit as end:
        if isinstance(end.__context__, BrokenPipeError):
            return nobody_reads()
        if end.code == exits.STOPPED:
            typer.echo(
                "stopped; in a farm what was done so far is kept, and the same command goes on from there", err=True
            )
        return end.code if isinstance(end.code, int) else exits.FAILED
    except BrokenPipeError:
        return nobody_reads()
    except OSError as error:
        # A disk that is full, a folder that may not be written: no fault of ours to trace.
        from cli.render import say

        full = "; make room and give the same command again" if error.errno == errno.ENOSPC else ""
        say(f"spawnrun: {error.filename or 'a file'}: {error.strerror or error}{full}")
        return exits.FAILED
    except Exception as error:
        from cli.render import say
        from farm.store.errors import (  # here, so that help need not load the farm
            FarmFullError,
            FarmShutError,
            SpawnrunError,
        )

        if not isinstance(error, SpawnrunError):
            raise
        say(f"spawnrun: {error}")
        return exits.FAILED if isinstance(error, FarmFullError | FarmShutError) else exits.BAD_INPUT
    return exits.DONE


def main() -> None:
    """Entry point of the installed command."""
    mend_streams()
    code = flushed(run(sys.argv[1:]))
    gc.disable()  # the process ends, and so does its memory: the last search of it would be for nothing
    sys.exit(code)
