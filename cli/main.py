"""The command line as a whole: its commands, and what becomes of a failure."""

import os
import sys
from collections.abc import Sequence
from importlib.metadata import version
from typing import Annotated

import typer

from cli import exits
from cli.agree import agree
from cli.backup import backup, restore
from cli.calendar import calendar
from cli.calibrate import calibrate
from cli.check import check
from cli.compare import compare
from cli.curve import curve
from cli.demo import demo
from cli.event import event
from cli.export import export
from cli.forecast import forecast
from cli.init import init
from cli.labels import labels
from cli.measure import measure
from cli.plan import plan
from cli.ready import ready
from cli.report import report
from cli.review import review_app
from cli.species import species
from cli.trace import trace
from cli.vessel import vessel_app

app = typer.Typer(
    name="spawnrun",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    epilog=exits.EPILOG,
)
COMMANDS = (
    demo, init, labels, calibrate, event, measure, curve, ready, forecast, report, trace, agree, calendar, export,
    species, plan, compare, backup, restore, check,
)  # fmt: skip
for command in COMMANDS:
    app.command()(command)
app.add_typer(vessel_app, name="vessel")
app.add_typer(review_app, name="review")


def _print_version(asked: bool) -> None:
    if asked:
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


def run(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit code; messages go to standard error."""
    from farm import FarmFullError, SpawnrunError

    try:
        app(list(arguments), prog_name="spawnrun")
    except SystemExit as end:
        if end.code == exits.STOPPED:
            typer.echo(
                "stopped; in a farm what was done so far is kept, and the same command goes on from there", err=True
            )
        return end.code if isinstance(end.code, int) else exits.FAILED
    except SpawnrunError as error:
        typer.echo(f"spawnrun: {error}", err=True)
        return exits.FAILED if isinstance(error, FarmFullError) else exits.BAD_INPUT
    except BrokenPipeError:
        # Whoever reads our output has enough (such as `head`); what is left must not fail at shutdown.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return exits.DONE
    except OSError as error:
        # A disk that is full, a folder that may not be written: no fault of ours to trace.
        typer.echo(f"spawnrun: {error.filename or 'files'}: {error.strerror or error}", err=True)
        return exits.FAILED
    return exits.DONE


def main() -> None:
    """Entry point of the installed command."""
    sys.exit(run(sys.argv[1:]))
