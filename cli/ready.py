"""`spawnrun ready`: today's list."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from calibration import USES
from cli.options import AsOfOption, FarmOption, Format, FormatOption, UseName, chosen_farm
from cli.render import (
    Column,
    Group,
    as_command,
    day_text,
    echo,
    percent_text,
    print_cautions,
    print_groups,
    say,
    span_text,
)
from farm.lists import DayCounts, Task, TodayItem, day_before, day_counts, list_today, new_since
from farm.outlook import bring_up_to_date
from farm.records import flag_words, ids_in_short, list_taken_out
from farm.store import Farm, iso, on_farm_clock, span_words
from report import FOOD_CAUTION, SPORE_CAUTION, ListGroup, list_groups, new_words

#: What `--each` and a list of few vessels print.
EACH = (
    Column("vessel", lambda one: one["vessel"]),
    Column("kind", lambda one: one["kind"]),
    Column("batch", lambda one: one["batch"]),
    Column("shelf", lambda one: one["shelf"]),
    Column("% colonised", percent_text, right=True),
    Column("day", lambda one: day_text(one["due_at"] or one["ready_median"])),
    Column("80 % sure", lambda one: "" if one["due_at"] else span_text(one)),
    Column("next step", lambda one: one["next_step"]),
    Column("note", lambda one: "; ".join(filter(None, (*one["marks"], flag_words(one["flags"]))))),
)
TASKS = (
    Column("what", lambda one: one["name"]),
    Column("shelf", lambda one: one["shelf"]),
    Column("", lambda one: one["count"]),
    Column("species", lambda one: one["what"]),
    Column("%", lambda one: one["percent"], right=True),
    Column("day", lambda one: one["day"]),
    Column("do", lambda one: one["action"]),
    Column("for", lambda one: one["use"]),
    Column("vessels", lambda one: one["ids"]),
)


@dataclass(frozen=True)
class TaskRecord:
    """A line of the list in short, as texts. action: where the heading does not say it; use: where it tells none."""

    name: str
    shelf: str
    count: str
    what: str
    percent: str
    day: str
    action: str
    use: str
    ids: str


def ready(
    days: Annotated[
        int | None, typer.Option("--days", min=0, max=365, help="How far ahead; else the farm's setting.")
    ] = None,
    use: Annotated[UseName | None, typer.Option("--use", help="Only vessels that are for this.")] = None,
    each: Annotated[bool, typer.Option("--each", help="Every vessel on a line of its own, with its notes.")] = False,
    print_: Annotated[
        Path | None,
        typer.Option("--print", metavar="FILE", help="Write what is to be done today as a PDF to tick, by shelf."),
    ] = None,
    as_of: AsOfOption = None,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """Today's list: what needs a look, what is ready, what comes in the next days, with what to do next.

    Vessels of a batch on one shelf with which the same is to be done share a line. What is ready is listed by what it
    is for: culture to transfer, spawn to divide, substrate to fruit. The substrate says which, unless the vessel's
    record does (column use). JSON and CSV have every vessel.

    \b
    Examples: spawnrun ready --days 7
              spawnrun ready --use fruiting --each
              spawnrun ready --print today.pdf
    """  # noqa: D301 - the mark that keeps lines as they are
    with chosen_farm(folder, as_of) as farm:
        items = _items(farm, days, use)
        if print_ is not None:
            from report import write_task_sheet  # what makes PDF files takes long to load

            pages = write_task_sheet(farm, items, print_)
            say(f"to print: {print_} ({pages} page{'s' * (pages != 1)})")
            return
        if style is not Format.table or each:
            print_each(farm, items, days, style, use)
        else:
            _print_short(farm, items, days, use)


def _items(farm: Farm, days: int | None, use: UseName | None) -> list[TodayItem]:
    items = list_today(farm, bring_up_to_date(farm), days=days)
    return items if use is None else [item for item in items if item.used_for == use.value]


def print_today(farm: Farm) -> None:
    """Print today's list of a farm, each vessel on a line, with the cautions if anything on it is suspect."""
    print_each(farm, _items(farm, None, None), None, Format.table)


def print_each(farm: Farm, items: list[TodayItem], days: int | None, style: Format, use: UseName | None = None) -> None:
    """Print today's list, each vessel on a line of its own. use: what the items were chosen by."""
    from cli.printed_lists import today_record  # the short list needs none of the records of JSON and CSV

    if style is Format.table:
        _print_head(farm, items, use)
    groups = [
        Group(
            one.heading,
            [today_record(item, farm.zone) for item in one.items],
            if_empty="none" if one.section in ("ready", "soon") else "",
        )
        for one in _groups(farm, items, days)
    ]
    print_groups(groups, EACH, style)
    if style is Format.table:
        _print_end(farm, items)


def _print_short(farm: Farm, items: list[TodayItem], days: int | None, use: UseName | None) -> None:
    """Print today's list in lines of several vessels; of long sections the first lines."""
    _print_head(farm, items, use)
    left_out = False
    for group in _groups(farm, items, days):
        tasks = group.tasks
        shown = tasks[: group.n_shown]
        if shown or group.section in ("ready", "soon"):
            heading = f"{group.heading} ({len(group.items)})" if group.items else group.heading
            print_groups(
                [Group(heading, [_task_record(farm, one) for one in shown], if_empty="none")], TASKS, Format.table
            )
        if more := tasks[group.n_shown :]:
            left_out = True
            _print_more(farm, group, more)
    picking = any(one.section == "harvest" for one in items)
    commands = {
        "every vessel by itself": as_command("ready", "--each", farm=farm) if left_out else "",
        "when they are picked": as_command("harvest", "VESSELS", "--weight", "WEIGHT", farm=farm) * picking,
        "when a step is done": as_command("done", "VESSELS", farm=farm) * any(one.section == "ready" for one in items),
    }
    if told := [f"{words}: {command}" for words, command in commands.items() if command]:
        echo("\n" + "\n".join(told))
    _print_end(farm, items)


def _print_more(farm: Farm, group: ListGroup, more: list[Task]) -> None:
    """One line for the tasks of a section that are not shown."""
    count = sum(len(one.items) for one in more)
    if group.n_shown:
        echo(f"  and {len(more)} more lines, {count} vessels")
        return
    photos = sum(len(one.items) for one in more if one.action)
    first = min((one.ready[0] for one in more if one.ready), default=None)
    what = "to be picked" if group.section == "fruiting" else "ready"
    day = "" if first is None else f", the first {what} {day_text(iso(first, farm.zone))}"
    echo(f"\n{group.heading}: {count}{day}{f'; {photos} of them to photograph' if photos else ''}")


def _groups(farm: Farm, items: list[TodayItem], days: int | None) -> list[ListGroup]:
    return list_groups(items, farm.settings.days_ahead if days is None else days)


def _print_head(farm: Farm, items: list[TodayItem], use: UseName | None) -> None:
    since = day_before(farm)
    only = next((one for one in USES if use is not None and one == use.value), None)
    at = iso(farm.now, farm.zone).replace("T", " ")
    new = new_words(new_since(farm, items, since, only), farm.units)
    echo(f"{farm.folder.resolve().name}, as of {at}: {len(items)} running; since the day before: {new}")
    echo(f"to do: {_counted(day_counts(items))}")


def _counted(counts: DayCounts) -> str:
    """How many vessels ask for what, as the phone's page says it too."""
    named = ("look", "to look at"), ("pick", "to pick"), ("ready", "ready"), ("photo", "to photograph")
    parts = [f"{n} {words}" for name, words in named if (n := getattr(counts, name))]
    parts += [f"{counts.give_up} that stopped growing"] if counts.give_up else []
    return ", ".join(parts) or "nothing"


def _print_end(farm: Farm, items: list[TodayItem]) -> None:
    if out := list_taken_out(farm):
        echo(f"\nOut as contaminated: {ids_in_short(one.id for one in out)}")
    if any(item.section == "harvest" for item in items):
        echo(f"\n{FOOD_CAUTION}\n{SPORE_CAUTION}")
    if any(one.suspect is not None for item in items for one in item.review):
        print_cautions(all_shown_by=as_command("review", "list", farm=farm))


def _task_record(farm: Farm, task: Task) -> TaskRecord:
    percent = task.percent
    return TaskRecord(
        name=task.name,
        shelf=task.shelf,
        count=task.count,
        what=task.what,
        percent="" if percent is None else _span(*percent),
        day=_days(farm, task),
        action=_action(task),
        use=task.used_for if task.section == "soon" else "",
        ids=ids_in_short(task.ids) if task.batch and len(task.items) > 1 else "",
    )


def _action(task: Task) -> str:
    """What to do, where the heading does not say it."""
    said = task.section in ("look", "harvest", "soon", "later", "unknown")
    return task.action if said else task.photo_first if task.section == "ready" else ""


def _days(farm: Farm, task: Task) -> str:
    """The days of readiness (or of picking) of a task; of what is ready, since when the first is."""
    if task.ready is None or task.section == "look":
        return ""
    first, last = (on_farm_clock(one, farm.zone) for one in task.ready)
    days = span_words(first, last, on_farm_clock(farm.now, farm.zone).year)
    return days.split(" to ")[0] if task.section in ("ready", "harvest") or first.date() == last.date() else days


def _span(low: float, high: float) -> str:
    return f"{low:.0f}" if round(low) == round(high) else f"{low:.0f}\N{EN DASH}{high:.0f}"
