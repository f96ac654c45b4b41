"""Mutants of a module: small mistakes put into its source, one at a time.

What people read is left alone: doc strings, annotations and texts of several words. So is
`__all__`, which only linters and `import *` see: nothing that the program does changes with it.
"""

import ast
from collections import Counter
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass, replace
from itertools import takewhile

MOST_LETTERS = 160
"""A longer change is told by the part that differs."""

_COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
_COUNTED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}
_NAMES = {"any": "all", "all": "any", "min": "max", "max": "min"}
_ATTRIBUTES = {
    "park": "neutral",
    "neutral": "reverse",
    "reverse": "park",
    "START_PERMIT": "REVERSE_LAMP",
    "REVERSE_LAMP": "START_PERMIT",
    "UNTOLD": "OTHER",
    "RANGE_BIT": "RANGE_LEVEL",
    "RANGE_LEVEL": "RANGE_BIT",
    "FAIL": "PASS",
    "PASS": "FAIL",
    "UNDECIDED": "MISSING",
    "MISSING": "UNDECIDED",
    "OPEN": "CLOSED",
    "CLOSED": "OPEN",
    "OHMS": "OPEN",
    "ANY": "OHMS",
    "ACCEPT": "REPAIR",
    "ACCEPTED": "LIKELY_GOOD",
    "RECHECK": "FAIL",
    "PROVE": "FIND",
    "FIND": "PROVE",
    "DANGER": "WARNING",
    "WARNING": "DANGER",
    "HOOK_UP": "CHART",
    "CHART": "HOOK_UP",
}
"""What stands beside a name, and is easily taken for it."""


@dataclass(frozen=True)
class Mutant:
    """One small mistake.

    Attributes
    ----------
    within : str
        Function or table that it is in, with its class.
    line : int
        Its line, counted from 1.
    change : str
        What was written and what is written in its place.
    module : ast.Module
        The whole module without it.
    old, changed : ast.AST
        What stands in the module, and what is put in its place.
    """

    within: str
    line: int
    change: str
    module: ast.Module
    old: ast.AST
    changed: ast.AST

    @property
    def name(self) -> str:
        """What it is told by, wherever its line has moved."""
        return f"{self.within}: {self.change}"

    @property
    def tree(self) -> ast.Module:
        """The whole module with it, made when it is wanted: most mutants are never run."""
        memo: dict[int, object] = {id(self.old): self.changed}
        return ast.fix_missing_locations(deepcopy(self.module, memo))


def mutants_of(source: str, within: tuple[str, ...] = ()) -> list[Mutant]:
    """Return the mutants of a module, in the order of its source.

    Parameters
    ----------
    source : str
        Its source.
    within : tuple of str
        The functions or tables to take; empty for all.
    """
    tree = ast.parse(source)
    found = []
    for top in tree.body:
        if isinstance(top, (ast.Import, ast.ImportFrom)) or _is_doc(top) or _for_types(top):
            continue
        if _name_of(top) == "__all__":
            continue
        for path, name in _places(top, _name_of(top)):
            if within and name not in within:
                continue
            found += [_mutant(tree, path, name, one) for one in _changes(path[-1], path)]
    # A reason why one is equivalent must not pass for another that is told alike.
    told: Counter[str] = Counter()
    for n, mutant in enumerate(found):
        told[mutant.name] += 1
        if (several := told[mutant.name]) > 1:
            found[n] = replace(mutant, change=f"{mutant.change} ({several})")
    return found


def _mutant(tree: ast.Module, path: tuple[ast.AST, ...], name: str, changed: ast.AST) -> Mutant:
    line = next(node.lineno for node in reversed(path) if hasattr(node, "lineno"))
    return Mutant(name, line, _told(path[-1], changed), tree, path[-1], changed)


def _told(old: ast.AST, changed: ast.AST) -> str:
    """Return a change in one short line: what differs, with what stands around it."""
    before, after = (" ".join(ast.unparse(node).split()) for node in (old, changed))
    if len(before) + len(after) <= MOST_LETTERS:
        return f"{before} -> {after}"
    same = _alike(before, after)
    tail = _alike(before[same:][::-1], after[same:][::-1])
    start = max(0, same - 20)
    parts = (text[start : len(text) - tail] for text in (before, after))
    return " -> ".join(f"...{part[:MOST_LETTERS]}..." for part in parts)


def _alike(first: str, second: str) -> int:
    """Return how many letters two texts begin alike with."""
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(first, second)))  # noqa: B905


def _is_doc(node: ast.AST) -> bool:
    if not isinstance(node, ast.Expr) or not isinstance(node.value, ast.Constant):
        return False
    return isinstance(node.value.value, str)


def _for_types(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"


def _name_of(node: ast.AST) -> str:
    if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
        return node.name
    target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
    return target.id if isinstance(target, ast.Name) else ""


_Path = tuple[ast.AST, ...]


def _places(node: ast.AST, name: str, path: _Path = ()) -> Iterator[tuple[_Path, str]]:
    """Yield every node that may be mutated, with those that it stands in."""
    here = (*path, node)
    yield here, name
    for kind, value in ast.iter_fields(node):
        if kind in (
            "decorator_list",
            "annotation",
            "returns",
            "type_params",
            "bases",
            "format_spec",
        ):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not _is_doc(child):
                inner = isinstance(child, ast.FunctionDef) and isinstance(node, ast.ClassDef)
                yield from _places(child, f"{name}.{_name_of(child)}" if inner else name, here)


def _changes(node: ast.AST, path: _Path) -> Iterator[ast.AST]:
    parent = path[-2] if len(path) > 1 else None
    match node:
        case ast.Compare():
            for n, op in enumerate(node.ops):
                for other in _COMPARED.get(type(op), ()):
                    ops = [*node.ops]
                    ops[n] = other()
                    yield ast.Compare(node.left, ops, node.comparators)
        case ast.BoolOp():
            yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
            for n in range(len(node.values)):
                rest = node.values[:n] + node.values[n + 1 :]
                yield rest[0] if len(rest) == 1 else ast.BoolOp(node.op, rest)
        case ast.UnaryOp(op=ast.Not()):
            yield node.operand
        case ast.BinOp() if type(node.op) in _COUNTED:
            if isinstance(node.op, (ast.Add, ast.BitOr)):
                yield node.left
                yield node.right
            if not isinstance(node.op, ast.Add):
                yield ast.BinOp(node.left, _COUNTED[type(node.op)](), node.right)
        case ast.IfExp():
            yield node.body
            yield node.orelse
        case ast.If() | ast.While():
            yield _with_test(node, ast.Constant(False))
            yield _with_test(node, ast.Constant(True))
        case ast.comprehension() if node.ifs:
            for n in range(len(node.ifs)):
                rest = node.ifs[:n] + node.ifs[n + 1 :]
                yield ast.comprehension(node.target, node.iter, rest, node.is_async)
        case ast.Constant() if not isinstance(parent, ast.JoinedStr):
            yield from _constants(node)
        case ast.Name() if node.id in _NAMES and isinstance(parent, ast.Call):
            yield ast.Name(_NAMES[node.id], ast.Load())
        case ast.Attribute() if node.attr in _ATTRIBUTES:
            yield ast.Attribute(node.value, _ATTRIBUTES[node.attr], ast.Load())
        case ast.Return() if node.value is not None and ast.unparse(node.value) != "None":
            yield ast.Return(ast.Constant(None))
        case ast.Raise() | ast.AugAssign() | ast.Continue() | ast.Expr():
            yield ast.Pass()
        case ast.Tuple() | ast.List() | ast.Set() if _is_read(node, parent):
            # Rows of a table, or what stands in a list.
            for n in range(len(node.elts)):
                rest = node.elts[:n] + node.elts[n + 1 :]
                yield type(node)(**{**vars(node), "elts": rest})
        case ast.Dict():
            for n in range(len(node.keys)):
                kept = [
                    pair
                    for m, pair in enumerate(zip(node.keys, node.values, strict=True))
                    if m != n
                ]
                yield ast.Dict([key for key, _ in kept], [value for _, value in kept])
    if isinstance(node, ast.Call):
        for n, keyword in enumerate(node.keywords):
            if keyword.arg is not None:
                yield ast.Call(node.func, node.args, node.keywords[:n] + node.keywords[n + 1 :])


def _is_read(node: ast.AST, parent: ast.AST | None) -> bool:
    return isinstance(getattr(node, "ctx", ast.Load()), ast.Load) and not isinstance(
        parent, ast.Subscript
    )


def _with_test(node: ast.If | ast.While, test: ast.expr) -> ast.AST:
    return type(node)(test, node.body, node.orelse)


def _constants(node: ast.Constant) -> Iterator[ast.AST]:
    match node.value:
        case bool():
            yield ast.Constant(not node.value)
        case int() | float() if node.value + 1 != node.value:
            yield ast.Constant(node.value + 1)
        case str() if " " not in node.value.strip():
            yield ast.Constant("" if node.value else "x")
        case _:
            return
