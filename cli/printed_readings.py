"""The readings of a run as a table: each by itself, or of very many only what a person must look at or take again."""

from collections import Counter
from collections.abc import Sequence

from cli.options import Format
from cli.printed_vessels import ReadingRecord
from cli.render import Column, as_command, echo, percent_text, print_list, say, suspects_column
from farm.records import flag_words, ids_in_short
from farm.records.models import RETAKE
from farm.store import Farm, Units

#: Up to so many readings are listed one by one: about a screen of a terminal. More are a morning's, of a whole farm.
MOST_LISTED = 40


def print_readings(records: Sequence[ReadingRecord], farm: Farm, style: Format, *, may_be_brief: bool) -> None:
    """Print the readings. may_be_brief: of more than MOST_LISTED the table has only what asks for something."""
    columns = _columns(farm.units)
    if style is not Format.table or not may_be_brief or len(records) <= MOST_LISTED:
        print_list(records, columns, style, if_empty="nothing new")
        return
    print_list([one for one in records if _is_to_see(one)], columns, style, if_empty="no patch that may be mould")
    others = [one for one in records if not _is_to_see(one)]
    read = [one for one in others if one.status == "ok"]
    seen_at = {one.vessel: one.taken_at for one in sorted(records, key=lambda one: one.taken_at) if one.status == "ok"}
    _print_refused([one for one in others if one.status != "ok" and one.taken_at > seen_at.get(one.vessel, "")])
    if read:
        percents, n_vessels = [one.percent or 0.0 for one in read], len({one.vessel for one in read})
        of = f"{len(read)} readings of {n_vessels} vessel{'s' * (n_vessels != 1)}"
        say(f"nothing to look at, and not listed: {of}, {min(percents):.0f} to {max(percents):.0f} %")
        say(f"every vessel by itself: {as_command('ready', '--each', farm=farm)}")
    flags = Counter(name for one in read for name in one.flags)
    if flags:
        say(f"notes on them: {', '.join(f'{flag_words([name])} ({n})' for name, n in flags.most_common())}")


def _print_refused(refused: Sequence[ReadingRecord]) -> None:
    """The vessels to be photographed again, in a line for each reason."""
    by_reason: dict[str, set[str]] = {}
    for one in refused:
        by_reason.setdefault(one.reason.removeprefix(RETAKE), set()).add(one.vessel or "?")
    if by_reason:
        echo("\nTo be photographed again")
    for reason, vessels in sorted(by_reason.items(), key=lambda one: -len(one[1])):
        echo(f"  {ids_in_short(sorted(vessels))}: {reason}")


def _is_to_see(one: ReadingRecord) -> bool:
    """Whether it may show mould, or is of no vessel of the farm."""
    return one.status == "unidentified" or one.vessel is None or any(not mark.own_colour for mark in one.suspects)


def _columns(units: Units) -> tuple[Column, ...]:
    return (
        Column("photo", lambda one: one["photo"]),
        Column("taken", lambda one: one["taken_at"].replace("T", " ")),
        Column("vessel", lambda one: (one["vessel"] or "?") + (" (back)" if one["side"] == "back" else "")),
        Column("% colonised", percent_text, right=True),
        suspects_column(units),
        Column("status", lambda one: "" if one["status"] == "ok" else one["status"]),
        Column("note", lambda one: one["reason"] or flag_words(one["flags"])),
    )
