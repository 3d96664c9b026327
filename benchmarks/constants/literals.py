"""Numbers in a source file that are worth shifting, and the file with one of them shifted.

Taken: every numeric literal at module level (also inside tuples, dictionaries and calls), in class bodies, in default
values, and in function bodies. Left out: 0, 1, 2, -1, 0.0 and 1.0; numbers up to 1e-6 and from 1e6, which keep
arithmetic finite; indices and slices; shapes; axes, rounding digits and formats; messages (f-strings, raised errors);
annotations and decorators.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass

SHIFT = 1.05
_TRIVIAL = {"0", "1", "2", "0.0", "1.0"}
_SMALLEST, _LARGEST = 1e-6, 1e6
_SHAPE_CALLS = {
    "zeros",
    "ones",
    "empty",
    "reshape",
    "eye",
    "broadcast_to",
    "repeat",
    "tile",
    "range",
    "arange",
    "field",
}
_ROUNDING_CALLS = {"round", "around"}
_FORMAL_KEYWORDS = {"axis", "decimals", "digits", "dtype", "keepdims", "maxsize", "ndmin", "axis1", "axis2", "seed"}


@dataclass(frozen=True)
class Literal:
    """A number in a source file: the place of its text, its value, and what it belongs to.

    owner: the name it is assigned to (``_ODDS``), or the function (``share_at``) it stands in. Columns count bytes,
    from 0.
    """

    line: int
    start: int
    end: int
    value: float
    owner: str

    @property
    def shifted(self) -> float:
        """5 % more; a whole number stays whole and moves by 1 at the least."""
        if isinstance(self.value, int):
            return self.value + max(1, round(self.value * (SHIFT - 1.0)))
        return self.value * SHIFT


def find_literals(source: str) -> list[Literal]:
    """Numbers worth shifting, in the order of the text; raises SyntaxError if it is not Python."""
    found: list[Literal] = []
    for statement in ast.parse(source).body:
        found.extend(_of_statement(statement, ""))
    return sorted(found, key=lambda one: (one.line, one.start))


def with_shift(source: str, literal: Literal) -> str:
    """The source with one number shifted."""
    lines = source.splitlines(keepends=True)
    row = lines[literal.line - 1].encode()
    lines[literal.line - 1] = (row[: literal.start] + repr(literal.shifted).encode() + row[literal.end :]).decode()
    return "".join(lines)


def _of_statement(statement: ast.stmt, inside: str) -> Iterator[Literal]:
    if isinstance(statement, ast.FunctionDef):
        owner = f"{inside}{statement.name}"
        defaults = [*statement.args.defaults, *(one for one in statement.args.kw_defaults if one)]
        for part in [*defaults, *statement.body]:
            yield from _of_node(part, owner)
    elif isinstance(statement, ast.ClassDef):
        for part in statement.body:
            yield from _of_statement(part, f"{statement.name}.")
    elif isinstance(statement, ast.Assign | ast.AnnAssign) and statement.value is not None:
        target = statement.targets[0] if isinstance(statement, ast.Assign) else statement.target
        names = [one.id for one in ast.walk(target) if isinstance(one, ast.Name)]
        values = statement.value.elts if isinstance(statement.value, ast.Tuple) and len(names) > 1 else []
        pairs = zip(names, values, strict=True) if values else [(names[0] if names else "", statement.value)]
        for name, value in pairs:
            yield from _of_node(value, f"{inside}{name}")


def _of_node(node: ast.AST, owner: str) -> Iterator[Literal]:
    if isinstance(node, ast.Constant):
        value = node.value
        if isinstance(value, int | float) and not isinstance(value, bool) and _matters(value):
            yield Literal(node.lineno, node.col_offset, int(node.end_col_offset or 0), value, owner)
        return
    for child in _worth_visiting(node):
        yield from _of_node(child, owner)


def _matters(value: float) -> bool:
    return repr(value) not in _TRIVIAL and _SMALLEST < abs(value) < _LARGEST


def _worth_visiting(node: ast.AST) -> Iterator[ast.AST]:
    """Children in which a number is a quantity, not a place, a shape or a format."""
    if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert):
        return
    if isinstance(node, ast.Subscript):
        yield node.value
    elif isinstance(node, ast.Call):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        yield node.func
        if name in _ROUNDING_CALLS:
            yield from node.args[:1]
        elif name not in _SHAPE_CALLS:
            yield from node.args
            yield from (one.value for one in node.keywords if one.arg not in _FORMAL_KEYWORDS)
    elif isinstance(node, ast.AnnAssign):
        yield from [node.value] if node.value else []
    elif isinstance(node, ast.FunctionDef):
        yield from node.body
    else:
        yield from ast.iter_child_nodes(node)
