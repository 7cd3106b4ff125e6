"""Every small change that can be made to a module: one operator, bound, rounding, sign or constant.

Left alone: words, types, what is only raised or asserted, and the bodies of classes (columns and
defaults are the migrations' and the types').
"""

import ast
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

BINARY: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.FloorDiv, ast.Mod: ast.FloorDiv,
    ast.Div: ast.Mult, ast.Pow: ast.Mult,
}  # fmt: skip
COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
CALLED = {"min": "max", "max": "min", "any": "all", "all": "any"}
# What a query asks of a column, by the end of the keyword: a bound moved by one, or turned round.
ASKED = {"__gte": "__gt", "__gt": "__gte", "__lte": "__lt", "__lt": "__lte"}
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)
NAMED = (*FUNCTIONS, ast.ClassDef)
UNTYPED = ("annotation", "returns", "decorator_list", "type_comment", "ctx")
LEFT_ALONE = (ast.Raise, ast.Assert, ast.Import, ast.ImportFrom, ast.JoinedStr)


@dataclass(frozen=True)
class Change:
    """``number``: which of its module's; ``key``: the same as long as its function is the same."""

    module: str
    scope: str
    line: int
    before: str
    after: str
    number: int
    key: str

    def __str__(self) -> str:
        where = f"{self.module.replace('.', '/')}.py:{self.line} {self.scope}"
        return f"{where}: {self.before} -> {self.after}"


@dataclass(frozen=True)
class _Place:
    """A field of a node, or one of the nodes in it, and what may stand there instead."""

    parent: ast.AST
    field: str
    index: int | None
    new: ast.AST
    scope: str
    line: int
    before: str

    def put(self) -> None:
        if self.index is None:
            setattr(self.parent, self.field, self.new)
        else:
            getattr(self.parent, self.field)[self.index] = self.new


def changes_in(root: Path, file: Path) -> list[Change]:
    """List every change that can be made to a file, in the order of its lines."""
    tree = ast.parse(file.read_text())
    module = ".".join(file.relative_to(root).with_suffix("").parts)
    sources = _sources(tree)
    found, seen = [], dict[tuple[str, str, str], int]()
    for number, place in enumerate(_places(tree)):
        before, after = place.before, ast.unparse(place.new)
        same = seen[place.scope, before, after] = seen.get((place.scope, before, after), -1) + 1
        told = "\n".join((module, sources[place.scope], before, after, str(same)))
        key = hashlib.sha256(told.encode()).hexdigest()[:16]
        found.append(Change(module, place.scope, place.line, before, after, number, key))
    return found


def changed(source: str, number: int) -> ast.Module:
    """Parse a module with one of its changes made."""
    tree = ast.parse(source)
    for each, place in enumerate(_places(tree)):
        if each == number:
            place.put()
            break
    return ast.fix_missing_locations(tree)


def _sources(tree: ast.Module) -> dict[str, str]:
    """The text of each function by its name; the module's own lines under no name."""
    named = {scope: ast.unparse(node) for scope, node in functions_of(tree)}
    own = [ast.unparse(node) for node in tree.body if not isinstance(node, NAMED)]
    return named | {"": "\n".join(own)}


def functions_of(tree: ast.AST, scope: str = "") -> Iterator[tuple[str, ast.FunctionDef]]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, NAMED):
            inner = f"{scope}.{node.name}" if scope else node.name
            if isinstance(node, ast.FunctionDef):
                yield inner, node
            else:
                yield from functions_of(node, inner)


def _places(node: ast.AST, scope: str = "", inside: str = "module") -> Iterator[_Place]:
    for field, index, child in _children(node):
        if isinstance(child, NAMED):
            yield from _places_of(child, scope, inside)
        elif inside != "class":
            for new in _instead(child, node):
                line = getattr(child, "lineno", 0)
                yield _Place(node, field, index, new, scope, line, ast.unparse(child))
            yield from _places(child, scope, inside)


def _places_of(
    node: ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef, scope: str, inside: str
) -> Iterator[_Place]:
    """A function within a function counts as a part of it, as it is called by it."""
    if inside != "function":
        scope = f"{scope}.{node.name}" if scope else node.name
    is_class = isinstance(node, ast.ClassDef) and inside != "function"
    yield from _places(node, scope, "class" if is_class else "function")


def _children(node: ast.AST) -> Iterator[tuple[str, int | None, ast.AST]]:
    """What stands in a node and may change, with its field and its place among others."""
    for field, value in ast.iter_fields(node):
        if field in UNTYPED:
            continue
        many = isinstance(value, list)
        for index, child in enumerate(value if many else [value]):
            if isinstance(child, ast.AST) and not _is_left_alone(child):
                yield field, index if many else None, child


def _is_left_alone(node: ast.AST) -> bool:
    words = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    asserts = isinstance(node, ast.keyword) and node.arg == "strict"  # that two are as long
    return words or asserts or isinstance(node, LEFT_ALONE)


def _instead(node: ast.AST, parent: ast.AST) -> Iterator[ast.AST]:
    """What may stand in place of one node."""
    match node:
        case ast.BinOp() | ast.UnaryOp() | ast.BoolOp() | ast.Compare():
            yield from _other_operator(node)
        case ast.Call() | ast.keyword():
            yield from _other_call(node)
        case ast.Constant(value=bool(value)):
            yield ast.Constant(not value)
        case ast.Constant(value=int(value)) if not isinstance(parent, ast.UnaryOp):
            yield ast.Constant(value + 1)


def _other_operator(node: ast.expr) -> Iterator[ast.expr]:
    match node:
        case ast.BinOp(op=ast.FloorDiv()):  # rounded up instead of down
            down = ast.BinOp(ast.UnaryOp(ast.USub(), node.left), node.op, node.right)
            yield ast.UnaryOp(ast.USub(), down)
        case ast.BinOp() if type(node.op) in BINARY and not _is_text(node):
            yield ast.BinOp(node.left, BINARY[type(node.op)](), node.right)
        case ast.Compare(ops=[op]) if type(op) in COMPARED:
            yield ast.Compare(node.left, [COMPARED[type(op)]()], node.comparators)
        case ast.UnaryOp(op=ast.USub() | ast.Not()):
            yield node.operand
        case ast.BoolOp():
            other = ast.And() if isinstance(node.op, ast.Or) else ast.Or()
            yield ast.BoolOp(other, node.values)


def _other_call(node: ast.AST) -> Iterator[ast.AST]:
    """The other end of some values, the other order, or a bound of a query moved."""
    match node:
        case ast.Call(func=ast.Name(id=name)) if name in CALLED:
            yield ast.Call(ast.Name(CALLED[name], ast.Load()), node.args, node.keywords)
        case ast.Call(func=ast.Attribute(attr="order_by"), args=[ast.Constant(value=str(by)), *_]):
            turned = ast.Constant(by[1:] if by.startswith("-") else f"-{by}")
            yield ast.Call(node.func, [turned, *node.args[1:]], node.keywords)
        case ast.keyword(arg=str(asked)) if (end := f"__{asked.rpartition('__')[2]}") in ASKED:
            yield ast.keyword(asked.removesuffix(end) + ASKED[end], node.value)


def _is_text(node: ast.BinOp) -> bool:
    """Whether words are put together or filled in: no sum."""
    sides = (node.left, node.right)
    return any(
        isinstance(each, ast.JoinedStr)
        or (isinstance(each, ast.Constant) and isinstance(each.value, str))
        for each in sides
    )
