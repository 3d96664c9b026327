"""What turns records of other packages into plain values and back; to make one takes longer than to use it."""

from functools import cache
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from pydantic import TypeAdapter

Record = TypeVar("Record")


@cache
def adapter_of(record: type[Record]) -> "TypeAdapter[Record]":
    """The adapter of a class of records, made once. Pydantic is imported here to start other work faster."""
    from pydantic import TypeAdapter

    return TypeAdapter(record)
