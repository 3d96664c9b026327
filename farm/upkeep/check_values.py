"""Values in records that no command has written, as in a backup made by hand."""

import math
import re
from collections.abc import Collection
from typing import Any, get_args

from sqlalchemy import JSON, Column, Connection, select

from calibration import KINDS, LabelPlace, LabelSize, Use
from farm.records import EventName
from farm.records.models import State, TakenFrom, Verdict
from farm.store.schema import tables

_WORDS: dict[str, Collection[str]] = {
    "vessels.kind": KINDS,
    "vessels.use": get_args(Use),
    "vessels.state": get_args(State),
    "vessels.label_size": get_args(LabelSize),
    "vessels.label_place": get_args(LabelPlace),
    "events.event": get_args(EventName),
    "photos.taken_from": get_args(TakenFrom),
    "readings.side": ("front", "back"),
    "reviews.verdict": get_args(Verdict),
}
_DIGEST = re.compile("[0-9a-f]{64}")
#: Names of files are made of these.
_DIGESTS = ("photos.hash", "readings.photo")
_POSITIVE = ("harvests.fresh_kg", "harvests.flush")


def check_values(connection: Connection) -> None:
    """Raises ValueError for a value of another type than its column, or none of the words that it may be.

    Raises also what the database raises for values that cannot be converted: TypeError, SQLAlchemyError.
    """
    for table in tables.sorted_tables:
        for row in connection.execute(select(table)):
            for column, value in zip(table.columns, row, strict=True):
                name = f"{table.name}.{column.name}"
                if not _fits(name, column, value):
                    raise ValueError(f"{name}: {value!r:.60}")


def _fits(name: str, column: "Column[Any]", value: object) -> bool:
    if value is None:
        return bool(column.nullable)
    if name in _DIGESTS:
        return isinstance(value, str) and _DIGEST.fullmatch(value) is not None
    if name in _WORDS:
        return value in _WORDS[name]
    if isinstance(column.type, JSON):
        return True
    wanted = column.type.python_type
    if wanted in (float, int):
        is_number = isinstance(value, (int, float) if wanted is float else int) and not isinstance(value, bool)
        return is_number and math.isfinite(float(str(value))) and (name not in _POSITIVE or float(str(value)) > 0)
    return isinstance(value, wanted)
