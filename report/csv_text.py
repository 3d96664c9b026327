"""Tables as CSV by RFC 4180, in which no cell is taken for a formula by a spreadsheet."""

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence

#: Beginnings of a cell that a spreadsheet would take for a formula, full-width forms too (OWASP, CSV injection).
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\N{FULLWIDTH EQUALS SIGN}", "\N{FULLWIDTH PLUS SIGN}",
                   "\N{FULLWIDTH HYPHEN-MINUS}", "\N{FULLWIDTH COMMERCIAL AT}")  # fmt: skip


def csv_text(names: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    """A header and the rows, lines ended by CR LF; nested values as JSON.

    Texts that look like formulas begin with an apostrophe, as OWASP ASVS 5.0 (1.2.10) has it; numbers stay numbers.
    """
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, list(names), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: _cell(row[name]) for name in names} for row in rows)
    return buffer.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, list | tuple | dict):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, str) and value.startswith(_FORMULA_STARTS):
        return f"'{value}"
    return value
