"""Names of shelves: white space and case do not tell them apart, and each is shown as it was first written."""

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy import Connection, func, select

from farm.records.models import Vessel
from farm.store.schema import vessels


def shelf_name(text: str) -> str:
    """The name without white space around it, and with single spaces between words."""
    return " ".join(text.split())


def shelf_key(text: str) -> str:
    """What is the same for all ways to write the name of one shelf."""
    return shelf_name(text).casefold()


def shelf_spellings(connection: Connection) -> dict[str, str]:
    """The name of each shelf as it is shown, by its key: as the vessel with the first id has it."""
    query = select(vessels.c.shelf).where(vessels.c.shelf != "").group_by(vessels.c.shelf)
    spellings: dict[str, str] = {}
    for name in connection.scalars(query.order_by(func.min(vessels.c.id))):
        spellings.setdefault(shelf_key(name), shelf_name(name))
    return spellings


def with_shelf_names(connection: Connection, chosen: Sequence[Vessel]) -> list[Vessel]:
    """The vessels with the names of their shelves as the farm writes them; a new one as its first vessel has it."""
    spellings = shelf_spellings(connection)
    names = [spellings.setdefault(shelf_key(one.shelf), shelf_name(one.shelf)) for one in chosen]
    return [one if one.shelf == name else replace(one, shelf=name) for one, name in zip(chosen, names, strict=True)]
