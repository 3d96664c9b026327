"""One place that prints lists: as a table for people, as JSON or CSV for programs."""

import json
import os
import re
import shlex
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, is_dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from cli.options import Format
from cli.streams import shows_all
from cli.tables import Column as Column
from cli.tables import Record as Record
from cli.tables import fitted_table, plain_table
from farm.store import Farm, Units, day_words, iso, on_farm_clock, span_words
from farm.store.errors import UnsureError
from report import CAUTIONS, colour_words, csv_text, visible_lines
from report import visible as visible

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

_UNUSUAL = re.compile(r"[^\x20-\x7e\n]")
#: A table of more rows is not fitted to the terminal.
_MANY_ROWS = 500


@dataclass(frozen=True)
class Group:
    """Frozen records under one heading of the table; an empty group is not shown unless it says so."""

    heading: str
    records: "Sequence[DataclassInstance]"
    if_empty: str = ""


def print_list(
    records: "Sequence[DataclassInstance]", columns: Sequence[Column], style: Format, *, if_empty: str = "nothing"
) -> None:
    """Print a list in the chosen format. records: frozen records, whose fields are the keys of JSON and CSV."""
    print_groups([Group("", records, if_empty)], columns, style)


def print_groups(groups: Sequence[Group], columns: Sequence[Column], style: Format) -> None:
    """Print groups of records; JSON and CSV have them as one list, in order."""
    if style is Format.table:
        _print_tables(groups, columns)
        return
    records = [as_dict(record) for group in groups for record in group.records]
    if style is Format.json:
        print_json(records)
    else:
        _print_csv(csv_text(list(records[0]), records) if records else "")


def as_dict(record: "DataclassInstance") -> dict[str, Any]:
    """A record's fields by name; records in it are made dictionaries too, tuples lists."""
    return {name: _plain(value) for name, value in vars(record).items()}


def _plain(value: Any) -> Any:  # noqa: ANN401 - whatever a record holds
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    return as_dict(value) if is_dataclass(value) and not isinstance(value, type) else value


def print_json(facts: object) -> None:
    """Print facts as JSON; what a terminal would obey in a text stands as its escape, which reads back the same."""
    # Where the stream lacks letters they stand as escapes too.
    text = json.dumps(facts, ensure_ascii=not shows_all(sys.stdout), indent=1)
    typer.echo(_UNUSUAL.sub(lambda found: found[0] if found[0].isprintable() else json.dumps(found[0])[1:-1], text))


@dataclass(frozen=True)
class Twig:
    """A line of a tree and what hangs from it."""

    text: str
    below: Sequence["Twig"] = ()


def print_tree(root: Twig) -> None:
    """Print a tree, a line for each twig."""
    from rich.console import Console
    from rich.text import Text
    from rich.tree import Tree

    def grow(tree: Tree, twigs: Sequence[Twig]) -> Tree:
        for twig in twigs:
            grow(tree.add(Text(visible(twig.text))), twig.below)
        return tree

    console = Console(file=sys.stdout, width=None if sys.stdout.isatty() else 10_000, highlight=False)
    console.print(grow(Tree(Text(visible(root.text)), guide_style=""), root.below))


def echo(text: str = "", *, err: bool = False) -> None:
    """Lines for people: what a terminal would obey in names and notes is shown as a mark."""
    typer.echo(visible_lines(text), err=err)


def as_command(*words: str, farm: Farm) -> str:
    """A command to give next, as it is typed; it names the farm unless that is where the command would look."""
    here = farm.folder.resolve() in (Path.cwd(), *Path.cwd().parents) or "SPAWNRUN_FARM" in os.environ
    return shlex.join(["spawnrun", *words, *([] if here else ["--farm", str(farm.folder)])])


def ask_first(question: str) -> None:
    """Go on only if the person at the terminal says yes; without one, --yes must have been given."""
    if not sys.stdin.isatty():
        raise UnsureError(f"{question} --yes says so")
    typer.confirm(visible(question), abort=True, err=True)


def is_before_today(farm: Farm, at: datetime) -> bool:
    """Whether a moment lies before the farm's today."""
    return on_farm_clock(at, farm.zone).date() < on_farm_clock(farm.now, farm.zone).date()


def ask_if_older(farm: Farm, said: str, taken_back: Iterable[tuple[datetime, bool]], *, sure: bool) -> None:
    """Ask before an undo reaches further back than was meant: to an earlier day, or behind what it took back before.

    taken_back: moment of each that would be, and whether a later one was taken back already.
    """
    moments = list(taken_back)
    further = [at for at, is_further in moments if is_further]
    older = [at for at, _ in moments if is_before_today(farm, at)]
    if further and not sure:
        ask_first(f"{said}, {iso(min(further), farm.zone)}: a later one was taken back already; take this back too?")
    elif older and not sure:
        ask_first(f"{said} is of {on_farm_clock(min(older), farm.zone):%Y-%m-%d}; take it back?")


def say(text: str) -> None:
    """A line for people, on standard error, so that it never mixes with a list."""
    echo(text, err=True)


#: So many of the cautions stand below a list; a command that is about suspects shows all.
_FIRST_CAUTIONS = 3


def print_cautions(colours: Iterable[str] = (), *, all_shown_by: str = "") -> None:
    """The cautions that stand with every flag, below the list, and what the colours on it commonly are.

    all_shown_by: a command; the first cautions are printed, and where the others are.
    """
    meant = filter(None, map(colour_words, dict.fromkeys(colours)))
    more = (f"All cautions, and what a colour commonly is: {all_shown_by}",)
    first, *others = (*CAUTIONS[:_FIRST_CAUTIONS], *more) if all_shown_by else (*CAUTIONS, *meant)
    echo(f"\n{first}")
    for caution in others:
        echo(f"  - {caution}")


def percent_text(record: Record) -> str:
    """Percent with its bounds, such as `42 (38-47)`; empty without one."""
    if record.get("percent") is None:
        return ""
    text = f"{record['percent']:.0f}"
    if record.get("percent_low") is None or record.get("percent_high") is None:
        return text
    return f"{text} ({record['percent_low']:.0f}\N{EN DASH}{record['percent_high']:.0f})"


def suspects_column(units: Units) -> Column:
    """The patches of a reading in a foreign colour, such as `green 1.5 cm2`; colours of the species' own are none."""

    def show(record: Record) -> str:
        foreign = (mark for mark in record["suspects"] if not mark["own_colour"])
        return ", ".join(f"{mark['colour'].replace('_', ' ')} {units.area(mark['area_cm2'])}" for mark in foreign)

    return Column("suspect", show)


def day_text(moment: str | None) -> str:
    """The day of an ISO time, such as `Mon 16 Mar 2026`; empty for None."""
    return "" if moment is None else day_words(datetime.fromisoformat(moment))


def span_text(record: Record, what: str = "ready") -> str:
    """The interval of a record's day, such as `14 Mar to 2 Apr`; empty without one."""
    ends = (record[f"{what}_{end}"] for end in ("low", "median", "high"))
    low, median, high = (None if end is None else datetime.fromisoformat(end) for end in ends)
    return span_words(low, high, None if median is None else median.year)


def _print_csv(text: str) -> None:
    """A program gets the texts as they are; on a terminal a person looks, and it would obey some of them."""
    if sys.stdout.isatty():
        echo(text.replace("\r\n", "\n").removesuffix("\n"))
    else:
        sys.stdout.write(text)  # typer would take colours out of it
        sys.stdout.flush()


def _print_tables(groups: Sequence[Group], columns: Sequence[Column]) -> None:
    from rich.console import Console

    # Piped, a table is as wide as it needs to be: no line is cut to a terminal's width.
    console = Console(file=sys.stdout, width=None if sys.stdout.isatty() else 10_000, highlight=False)
    for group in groups:
        if not group.records and not group.if_empty:
            continue
        if group.heading:
            console.print(f"\n{visible(group.heading)}", style="bold", markup=False)
        records = [as_dict(record) for record in group.records]
        if records and (not sys.stdout.isatty() or len(records) > _MANY_ROWS):
            console.file.write(plain_table(*_cells(records, columns)))
        elif records:
            console.print(fitted_table(*_cells(records, columns), console.width))
        else:
            console.print(f"  {visible(group.if_empty)}", markup=False)


def _cells(records: Sequence[Record], columns: Sequence[Column]) -> tuple[list[Column], list[list[str]]]:
    """The columns that have anything to show, and the text of each cell, row by row."""
    cells = [[visible(column.show(record)) for column in columns] for record in records]
    shown = [at for at in range(len(columns)) if any(row[at] for row in cells)]
    return [columns[at] for at in shown], [[row[at] for at in shown] for row in cells]
