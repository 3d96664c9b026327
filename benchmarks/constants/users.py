"""Which lines of a package use a number: the lines whose tests can notice that it was shifted."""

import ast
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial

from benchmarks.constants.literals import Literal

Line = tuple[str, int]
Wanted = Callable[[ast.AST], bool]


@dataclass(frozen=True)
class _Use:
    """A place that uses a name: lines inside functions, or the name that a module or class makes from it."""

    lines: frozenset[int]
    makes: str = ""
    attribute: str = ""


def lines_using(file: str, literal: Literal, sources: Mapping[str, str]) -> set[Line]:
    """Lines (file, line) inside functions that use a number, directly or by way of names.

    sources: text by file, all of the package. Followed through module-level names, default values and attributes of
    classes, and into modules that import a name.
    """
    trees = {path: ast.parse(text) for path, text in sources.items()}
    found: set[Line] = set()
    todo = [(file, use) for use in _uses(trees[file], partial(_is_literal, literal))]
    seen = set(todo)
    while todo:
        path, use = todo.pop()
        found |= {(path, line) for line in use.lines}
        for step in _followed(path, use, trees):
            if step not in seen:
                seen.add(step)
                todo.append(step)
    return found


def _followed(path: str, use: _Use, trees: Mapping[str, ast.Module]) -> Iterator[tuple[str, _Use]]:
    if use.attribute:
        for other, tree in trees.items():
            yield from ((other, one) for one in _uses(tree, partial(_loads_attribute, use.attribute)))
    if use.makes:
        for other, name in [(path, use.makes), *_imported_as(use.makes, path, trees)]:
            yield from ((other, one) for one in _uses(trees[other], partial(_loads, name)))


def _is_literal(literal: Literal, node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and (node.lineno, node.col_offset) == (literal.line, literal.start)


def _loads_attribute(name: str, node: ast.AST) -> bool:
    return isinstance(node, ast.Attribute) and node.attr == name


def _loads(name: str, node: ast.AST) -> bool:
    return isinstance(node, ast.Name) and node.id == name and isinstance(node.ctx, ast.Load)


def _uses(tree: ast.Module, wanted: Wanted) -> list[_Use]:
    """Every place of a module in which a wanted node stands."""
    found: list[_Use] = []
    for statement in tree.body:
        _walk(statement, "", wanted, found)
    return found


def _walk(statement: ast.stmt, inside: str, wanted: Wanted, found: list[_Use]) -> None:
    if isinstance(statement, ast.ClassDef):
        for part in statement.body:
            _walk(part, statement.name, wanted, found)
    elif isinstance(statement, ast.FunctionDef):
        first = frozenset(range(statement.body[0].lineno, (statement.body[-1].end_lineno or 0) + 1))
        if any(wanted(node) for node in ast.walk(statement.args)):
            found.append(_Use(first))
        found.extend(_Use(lines) for part in statement.body for lines in _lines_with(part, wanted))
    else:
        for names, value in _assignments(statement):
            if any(wanted(node) for node in ast.walk(value)):
                kind = "attribute" if inside else "makes"
                found.extend(_Use(frozenset(), **{kind: name}) for name in names)


def _assignments(statement: ast.stmt) -> Iterator[tuple[list[str], ast.AST]]:
    """Names that a statement assigns, each with its value where a tuple is assigned to a tuple."""
    targets = getattr(statement, "targets", [getattr(statement, "target", statement)])
    value = getattr(statement, "value", None) or statement
    names = [[one.id for one in ast.walk(target) if isinstance(one, ast.Name)] for target in targets]
    if isinstance(value, ast.Tuple) and len(names) == 1 and len(names[0]) == len(value.elts) > 1:
        yield from (([name], part) for name, part in zip(names[0], value.elts, strict=True))
    else:
        yield [name for some in names for name in some], value


def _lines_with(statement: ast.stmt | ast.excepthandler, wanted: Wanted) -> Iterator[frozenset[int]]:
    """Lines of each innermost statement in which a wanted node stands."""
    inner = [one for one in ast.iter_child_nodes(statement) if isinstance(one, ast.stmt | ast.excepthandler)]
    outside = [one for one in ast.iter_child_nodes(statement) if one not in inner]
    own = [node for part in outside for node in ast.walk(part) if wanted(node)]
    if own:
        last = max(getattr(node, "end_lineno", None) or statement.lineno for node in own)
        yield frozenset(range(statement.lineno, last + 1))
    for part in inner:
        yield from _lines_with(part, wanted)


def _imported_as(name: str, path: str, trees: Mapping[str, ast.Module]) -> list[tuple[str, str]]:
    """(file, name there) of modules that import the name from this file, also by way of its package's door."""
    module = path.removesuffix(".py").replace("/", ".").removesuffix(".__init__")
    return [
        (other, alias.asname or alias.name)
        for other, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module in (module, module.rpartition(".")[0])
        for alias in node.names
        if alias.name == name and other != path
    ]
