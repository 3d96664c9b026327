"""For values that may be None by their type and that a test expects to be there."""

from typing import TypeVar

Value = TypeVar("Value")


def known(value: Value | None) -> Value:
    """The value; the test fails if it is None."""
    assert value is not None
    return value
