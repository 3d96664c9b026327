"""Tables of texts: as wide as they need to be, or fitted to a terminal."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from textwrap import fill
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.table import Table
    from rich.text import Text

#: Blanks between two columns; and the length from which on a word may be split where there is no room.
_GAP, _LONG_WORD = 2, 12
#: No row is meant to take more lines than this.
_MOST_LINES = 6
#: A record as columns see it: its fields by name.
Record = Mapping[str, Any]


@dataclass(frozen=True)
class Column:
    """A column of the table: its heading, and what it shows of a record. JSON and CSV have all of the record."""

    heading: str
    show: Callable[[Record], str]
    right: bool = False


def plain_table(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> str:
    """The table as text, each line as wide as it needs to be: made many times faster than one that fits a terminal."""
    from rich.cells import cell_len

    lines = [[column.heading for column in columns], *rows]
    widths = [max(cell_len(line[at]) for line in lines) for at in range(len(columns))]

    def padded(at: int, text: str) -> str:
        room = " " * (widths[at] - cell_len(text))
        return room + text if columns[at].right else text + room

    return "".join("  ".join(padded(at, text) for at, text in enumerate(line)).rstrip() + "\n" for line in lines)


def fitted_table(columns: Sequence[Column], rows: Sequence[Sequence[str]], width: int) -> "Table | Text":
    """The table in a width, in which no word is split but very long ones, such as paths.

    Where that is not enough, or a row would be very high, each row is a text with the names of its columns.
    """
    from rich.table import Table
    from rich.text import Text

    for gap, longest in ((_GAP, width), (1, width), (1, _LONG_WORD)):
        widths = _widths(columns, rows, width - gap * (len(columns) - 1), longest)
        if widths is not None:
            break
    else:
        return Text("\n".join(_as_text(columns, row, width) for row in rows))
    table = Table(box=None, pad_edge=False, padding=(0, gap, 0, 0), header_style="underline")
    for column, room in zip(columns, widths, strict=True):
        table.add_column(column.heading, justify="right" if column.right else "left", overflow="fold", width=room)
    for row in rows:
        table.add_row(*map(Text, row))
    return table


def _widths(columns: Sequence[Column], rows: Sequence[Sequence[str]], room: int, longest: int) -> list[int] | None:
    """Widths of the columns that use the room as far as they need it; None where their words or lines do not fit.

    longest: words longer than this may be split.
    """
    from rich.cells import cell_len

    texts = [[column.heading, *(row[at] for row in rows)] for at, column in enumerate(columns)]
    needed = [max(map(cell_len, mine)) for mine in texts]
    widths = [max(1, min(longest, max(map(_longest_word, mine)))) for mine in texts]
    if (left := room - sum(widths)) < 0:
        return None
    while left > 0 and (short := [at for at, width in enumerate(widths) if width < needed[at]]):
        for at in short[:left]:
            widths[at] += 1
        left -= len(short[:left])
    return widths if all(most <= _MOST_LINES * width for most, width in zip(needed, widths, strict=True)) else None


def _longest_word(text: str) -> int:
    from rich.cells import cell_len

    return max(map(cell_len, text.split()), default=0)


def _as_text(columns: Sequence[Column], row: Sequence[str], width: int) -> str:
    """A row as its name, which are the columns before the first number, and below it each of the others by name."""
    n_names = next((at for at, column in enumerate(columns) if column.right), 1) or 1
    name = ", ".join(filter(None, row[:n_names]))
    others = zip(columns[n_names:], row[n_names:], strict=True)
    rest = [f"{column.heading} {text}".strip() for column, text in others if text]
    return fill(f"{name}: {'; '.join(rest)}" if rest else name, width, subsequent_indent="    ", break_on_hyphens=False)
