"""Commands whose modules are loaded when they are run, so that help starts fast."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup


@dataclass(frozen=True)
class LazyCommand:
    """Where a command is: module and name of its function, or of its own group of commands; and what it is for.

    says: first line of its help; a test holds it to the command's own.
    """

    place: str
    says: str

    def load(self, name: str) -> Any:  # noqa: ANN401 - typer keeps the types of its commands to itself
        """The command itself, its module imported."""
        module, _, attribute = self.place.partition(":")
        found = getattr(import_module(module), attribute)
        if not isinstance(found, typer.Typer):
            alone = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
            alone.command(name)(found)
            found = alone
        command = typer.main.get_command(found)
        command.name = name
        return command


class _Loaded(Mapping[str, Any]):
    """Commands by name, each loaded where it is taken."""

    def __init__(self, commands: Mapping[str, LazyCommand]) -> None:
        self._commands = commands

    def __getitem__(self, name: str) -> Any:  # noqa: ANN401 - as above
        return self._commands[name].load(name)

    def __iter__(self) -> Iterator[str]:
        return iter(self._commands)

    def __len__(self) -> int:
        return len(self._commands)


def _plain_words(error: typer.BadParameter) -> str:
    """What is wrong with a value of the command line, in our words where the checking library gave its own."""
    if error.__cause__ is None:
        return error.message
    from pydantic import ValidationError  # here, so that a command that is understood need not load it

    from farm.store import fault_words

    if not isinstance(error.__cause__, ValidationError):
        return error.message
    fault = error.__cause__.errors()[0]
    words = fault_words(fault).removesuffix(".")
    return words if fault["type"] == "value_error" else f"{fault['input']!r}: {words}"


def lazy_group(commands: Mapping[str, LazyCommand]) -> type[TyperGroup]:
    """A kind of group of these commands, by name in the order of help."""

    class LazyGroup(TyperGroup):
        def __init__(self, **settings: Any) -> None:  # noqa: ANN401 - whatever typer gives a group
            super().__init__(**settings)
            loaded: Any = _Loaded(commands)  # only ever read
            self.commands = loaded

        def invoke(self, ctx: Any) -> Any:  # noqa: ANN401 - as above
            try:
                return super().invoke(ctx)
            except typer.BadParameter as error:
                error.message = _plain_words(error)
                raise

        def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ANN401, ARG002 - as above
            with formatter.section("Commands"):
                formatter.write_dl([(name, one.says) for name, one in commands.items()])

    return LazyGroup
