"""Validation errors in words for someone who fills in a table."""

from collections.abc import Callable, Collection
from difflib import get_close_matches

from pydantic_core import ErrorDetails

#: Words for each kind of fault that our tables and settings can have, by the name the checking library gives it.
_WORDS = {
    "missing": "must be filled in",
    "string_too_short": "must be filled in",
    "string_type": "not a text in quotes",
    "float_type": "not a number",
    "float_parsing": "not a number (digits and a decimal point only, such as 12.5)",
    "finite_number": "not a number",
    "int_type": "not a whole number",
    "int_parsing": "not a whole number",
    "int_from_float": "not a whole number",
    "literal_error": "must be {expected}",
    "greater_than": "must be more than {gt:g}",
    "greater_than_equal": "must be {ge:g} or more",
    "less_than_equal": "must be {le:g} or less",
    "datetime_type": "not a date or time, such as 2026-03-01T09:30",
    "datetime_parsing": "not a date or time, such as 2026-03-01T09:30",
    "datetime_from_date_parsing": "not a date or time, such as 2026-03-01T09:30",
    "extra_forbidden": "no such setting",
    "dict_type": "must be a table of names and values",
    "model_type": "must be a table of names and values",
    "dataclass_type": "must be a table of names and values",
    "model_attributes_type": "must be a table of names and values",
    "list_type": "must be a list in square brackets",
    "tuple_type": "must be a list in square brackets",
}


def fault_words(fault: ErrorDetails, shown: Callable[[float], str] | None = None) -> str:
    """The fault in plain words, in lower case, without the value; the library's own words for other kinds.

    shown: how a limit is written, such as with its unit; None: as a bare number.
    """
    if (words := _WORDS.get(fault["type"])) is not None:
        if shown is not None:
            limits = {
                name: shown(one) if isinstance(one, int | float) else one for name, one in fault.get("ctx", {}).items()
            }
            return words.replace(":g}", "}").format(**limits)
        return words.format(**fault.get("ctx", {}))
    message = fault["msg"].removeprefix("Value error, ")
    return f"{message[:1].lower()}{message[1:]}"


def did_you_mean(name: str, known: Collection[str]) -> str:
    """A question for a name that is not known, such as "; did you mean species?"; "" where no known name is alike."""
    alike = get_close_matches(name, known, n=1)
    return f"; did you mean {alike[0]}?" if alike else ""
