"""Tables as CSV (RFC 4180), safe from being read as formulas by a spreadsheet."""

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence

from farm.records import FORMULA_STARTS


def csv_text(names: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    """CSV text with a header, lines ended by CR LF, nested values as JSON.

    Texts that look like formulas get a leading apostrophe (OWASP ASVS 5.0, 1.2.10), which ``farm.records.tables``
    removes on import; numbers stay numbers.
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
