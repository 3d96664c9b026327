"""Every option of every command is set by a test: by one below, or by another of tests/."""

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer.main

from cli.main import app

TESTS = Path(__file__).parents[1]
#: Options that no test sets, and why.
EXEMPT: dict[str, str] = {}


def options(command: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], str]]:
    """Each option of a command and its subcommands, with the words that call it. --x/--no-x are two options."""
    for name in getattr(command, "commands", {}):
        yield from options(command.commands[name], (*words, name))
    for one in command.params:
        for option in (*one.opts, *one.secondary_opts):
            if option.startswith("--"):
                yield words, option


def command_lines() -> list[set[str]]:
    """The strings of each call, tuple and list of the tests; a starred name stands for the strings assigned to it."""
    lines = []
    for source in TESTS.rglob("*.py"):
        tree = ast.parse(source.read_text("utf-8"))
        given: dict[str, set[str]] = {}
        for node in ast.walk(tree):
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                name = node.targets[0].id
                given[name] = given.get(name, set()) | _texts(node.value)
        for node in ast.walk(tree):
            if isinstance(node, ast.Call | ast.Tuple | ast.List):
                parts = node.args if isinstance(node, ast.Call) else node.elts
                lines.append(_own_texts(parts).union(*(given.get(name, set()) for name in _starred(parts))))
    return lines


def _own_texts(parts: list[ast.expr]) -> set[str]:
    return {one.value for one in parts if isinstance(one, ast.Constant) and isinstance(one.value, str)}


def _starred(parts: list[ast.expr]) -> list[str]:
    values = (one.value for one in parts if isinstance(one, ast.Starred))
    return [one.id for one in values if isinstance(one, ast.Name)]


def _texts(node: ast.expr) -> set[str]:
    return {one.value for one in ast.walk(node) if isinstance(one, ast.Constant) and isinstance(one.value, str)}


def test_every_option_is_set_by_a_test() -> None:
    lines = command_lines()
    unset = {
        f"{' '.join(words)} {option}"
        for words, option in options(typer.main.get_command(app))
        if option != "--help" and not any({*words, option} <= line for line in lines)
    }
    assert unset == set(EXEMPT), "set it in a test, or say in EXEMPT why none does"
