"""What can be damaged: every small slip in the arithmetic of the library's physics, found in the syntax tree.

Which of them are chosen hangs on a seed and on the text of the damaged statement alone, and so not on where a file is, nor
on its name, nor on what else is in it.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

ROOMS = ("network", "parts", "system", "analysis", "bench")
SEED = 11
SWAPS = {
    one: other
    for pair in (
        "max min", "maximum minimum", "fmax fmin", "nanmax nanmin", "argmax argmin", "nanargmax nanargmin", "sin cos",
        "sinh cosh", "real imag", "floor ceil", "log10 log",
    )
    for one, other in (pair.split(), pair.split()[::-1])
}  # fmt: skip
LOST = {"abs": "magnitude", "absolute": "magnitude", "conj": "conjugate", "conjugate": "conjugate", "sqrt": "root"}
TURNED = {ast.Lt: ast.Gt, ast.Gt: ast.Lt, ast.LtE: ast.GtE, ast.GtE: ast.LtE}
OTHER = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
ROUNDING = 1e-6  # below it a number beside another guards against rounding
TEXT = (ast.JoinedStr, ast.List, ast.Tuple, ast.Dict, ast.Set, ast.ListComp)
WORDS = re.compile(r"(Error|Problem)$|^(format_|did_you_mean|warn)|^progress$")  # what is said and not reckoned
Node = ast.expr | ast.stmt
Slip = tuple[str, Node, ast.AST]  # what kind, the node that goes, the node that comes


@dataclass(frozen=True)
class Damage:
    """One slip: ``old`` becomes ``new`` in bytes ``span`` of the file ``path``, in a function of lines ``body``.

    ``statement``: a whole statement and no expression. Draws go by ``digest``.
    """

    path: str
    line: int
    function: str
    kind: str
    old: str
    new: str
    span: tuple[int, int]
    body: tuple[int, int]
    statement: bool
    digest: str

    def applied(self, text: bytes) -> bytes:
        """The file's text with the damage in it."""
        new = self.new if self.statement else f"({self.new})"
        return text[: self.span[0]] + new.encode() + text[self.span[1] :]


def physics(root: Path) -> list[Path]:
    """The modules below ``root`` that reckon: those of the rooms that use numbers' libraries and are no words."""
    found = (path for room in ROOMS for path in sorted((root / "filterlib" / room).rglob("*.py")))
    return [path for path in found if "words" not in str(path.relative_to(root)) and {"numpy", "math"} & imports(path)]


def imports(path: Path) -> set[str]:
    """Names of all modules that a file imports, also inside functions."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def damages(root: Path, path: Path) -> Iterator[Damage]:
    """Every damage of one module."""
    text = path.read_bytes()
    starts = [0]
    for line in text.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))

    def place(line: int | None, column: int | None) -> int:
        return starts[(line or 1) - 1] + (column or 0)

    where = path.relative_to(root).as_posix()
    for function in _functions(ast.parse(text)):
        first = min([function.lineno, *(one.lineno for one in function.decorator_list)])
        body = first, function.end_lineno or 0
        for home, node in _walk(function, function):
            for kind, gone, new in _slips(node):
                old, come = ast.unparse(gone), ast.unparse(new)
                span = place(gone.lineno, gone.col_offset), place(gone.end_lineno, gone.end_col_offset)
                digest = _digest("\0".join((str(SEED), function.name, ast.unparse(home), kind, old, come)))
                whole = isinstance(gone, ast.stmt)
                yield Damage(where, gone.lineno, function.name, kind, old, come, span, body, whole, digest)


def chosen(root: Path, count: int = 100) -> list[Damage]:
    """``count`` lines of physics with one damage each, in the order of the draw."""
    lines: dict[tuple[str, int], Damage] = {}
    for path in physics(root):
        for one in damages(root, path):
            place = one.path, one.line
            if place not in lines or one.digest < lines[place].digest:
                lines[place] = one
    return sorted(lines.values(), key=lambda one: _digest(one.digest))[:count]


def _digest(text: str) -> str:
    return sha256(text.encode()).hexdigest()


def _functions(module: ast.Module) -> Iterator[ast.FunctionDef]:
    """Functions and methods, without those that check arguments or make sentences."""
    for node in module.body:
        inside = node.body if isinstance(node, ast.ClassDef) else [node]
        for one in inside:
            if isinstance(one, ast.FunctionDef) and not _speaks_or_checks(one):
                yield one


def _speaks_or_checks(function: ast.FunctionDef) -> bool:
    returns = "" if function.returns is None else ast.unparse(function.returns)
    marks = " ".join(ast.unparse(one) for one in function.decorator_list)
    return "validator" in marks or returns.startswith(("str", "Iterator[Problem]")) or function.name == "__post_init__"


def _walk(node: ast.AST, home: ast.AST) -> Iterator[tuple[ast.AST, ast.AST]]:
    """Nodes that reckon, each with the statement (or the head of a block) that it belongs to."""
    yield home, node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "args") and not isinstance(node, ast.Call):
            continue
        if name == "test" and isinstance(node, ast.If) and any(_refuses(one) for one in node.body):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not _is_said(child):
                block = hasattr(node, "body") and isinstance(node, ast.stmt)
                yield from _walk(child, child if block else home)


def _is_said(node: ast.AST) -> bool:
    if isinstance(node, ast.keyword):
        return node.arg == "axis"
    called = isinstance(node, ast.Call) and WORDS.search(_name(node.func))
    return bool(called) or isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert)


def _refuses(statement: ast.stmt) -> bool:
    inside = () if hasattr(statement, "body") else ast.walk(statement)
    return any(isinstance(one, ast.Raise) or (isinstance(one, ast.Call) and _is_said(one)) for one in inside)


def _name(node: ast.AST) -> str:
    return getattr(node, "attr", getattr(node, "id", ""))


def _value(node: ast.AST) -> int | float | complex | None:
    """A number that is written out."""
    value = node.value if isinstance(node, ast.Constant) else None
    return value if isinstance(value, int | float | complex) else None


def _number(node: ast.AST) -> bool:
    return _value(node) is not None


def _text(node: ast.AST) -> bool:
    if isinstance(node, ast.BinOp):
        return _text(node.left) or _text(node.right)
    return isinstance(node, TEXT) or (isinstance(node, ast.Constant) and not _number(node))


def _guards(node: ast.BinOp) -> bool:
    """True of 1 + 1e-9, and of what is multiplied by it."""
    sides = node.left, node.right
    if isinstance(node.op, ast.Add | ast.Sub):
        return any(abs(value) < ROUNDING for value in map(_value, sides) if value is not None)
    return any(isinstance(one, ast.BinOp) and _guards(one) for one in sides)


def _counts(node: ast.Compare) -> bool:
    return any(isinstance(one, ast.Call) and _name(one.func) == "len" for one in (node.left, *node.comparators))


def _with(node: ast.AST, **fields: object) -> ast.AST:
    new = copy(node)
    for name, value in fields.items():
        setattr(new, name, value)
    return new


def _slips(node: ast.AST) -> Iterator[Slip]:
    """The slips that one node allows."""
    match node:
        case ast.BinOp() if not _text(node) and not _guards(node):
            yield from _of_operation(node)
        case ast.AugAssign(op=op) if type(op) in OTHER and not _text(node.value):
            yield "sign" if isinstance(op, ast.Add | ast.Sub) else "inverse", node, _with(node, op=OTHER[type(op)]())
        case ast.UnaryOp(op=ast.USub(), operand=operand) if not _number(operand):
            yield "sign", node, operand
        case ast.Compare(ops=[op]) if type(op) in TURNED and not _counts(node):
            yield "comparison", node, _with(node, ops=[TURNED[type(op)]()])
        case ast.Call():
            yield from _of_call(node)
        case ast.Attribute(attr="real" | "imag" as part):
            yield f"{part} to {SWAPS[part]}", node, _with(node, attr=SWAPS[part])
        case ast.Slice(lower=lower, upper=upper):
            yield from (_next(one) for one in (lower, upper) if one is not None and _number(one))


def _of_operation(node: ast.BinOp) -> Iterator[Slip]:
    left, op, right = node.left, node.op, node.right
    if isinstance(op, ast.Pow) and _value(right) == 2:
        yield "square lost", node, left
    if type(op) not in OTHER:
        return
    if isinstance(op, ast.Add | ast.Sub):
        yield "sign", node, _with(node, op=OTHER[type(op)]())
        yield "term dropped", node, left
        if isinstance(op, ast.Add):
            yield "term dropped", node, right
    elif _name(right) == "pi" and isinstance(op, ast.Mult):
        one = 1j if isinstance(_value(left), complex) else 1
        yield "pi lost", node, ast.Constant(one) if _number(left) else left
    elif _number(right) or (_number(left) and isinstance(op, ast.Mult)):
        yield "factor lost", node, left if _number(right) else right
    else:
        yield "inverse", node, _with(node, op=OTHER[type(op)]())
        yield "factor of two", node, ast.BinOp(ast.Constant(2), ast.Mult(), node)


def _of_call(node: ast.Call) -> Iterator[Slip]:
    name = _name(node.func)
    if name in SWAPS:
        part = "attr" if isinstance(node.func, ast.Attribute) else "id"
        yield f"{name} to {SWAPS[name]}", node, _with(node, func=_with(node.func, **{part: SWAPS[name]}))
    elif name in LOST and len(node.args) <= 1:
        inside = node.args[0] if node.args else node.func.value if isinstance(node.func, ast.Attribute) else None
        if inside is not None:
            yield f"{LOST[name]} lost", node, inside
    elif name == "exp" and len(node.args) == 1:
        yield "sign", node, _with(node, args=[ast.UnaryOp(ast.USub(), node.args[0])])
    elif name in ("range", "arange"):
        yield from (_next(one) for one in node.args if _number(one))


def _next(constant: ast.expr) -> Slip:
    return "off by one", constant, ast.Constant((_value(constant) or 0) + 1)
