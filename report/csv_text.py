"""Tables as CSV by RFC 4180, in which no cell is taken for a formula by a spreadsheet."""

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence

from farm.records import FORMULA_STARTS


def csv_text(names: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    """A header and the rows, lines ended by CR LF; nested values as JSON.

    Texts that look like formulas begin with an apostrophe, as OWASP ASVS 5.0 (1.2.10) has it, which tables that are
    taken in lose again (``farm.records.tables``); numbers stay numbers.
    """
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, list(names), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: _cell(row[name]) for name in names} for row in rows)
    return buffer.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, list | tuple | dict):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, str) and value.lstrip("'").startswith(FORMULA_STARTS):
        return f"'{value}"
    return value
