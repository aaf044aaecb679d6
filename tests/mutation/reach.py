"""Which tests could notice a mutant: those in which the changed expression, worked out beside the right one, once gave another value.

A test in which both are always the same goes the same way with the mutant, so it need not be run. What is compared is the outermost
expression around the change: of a condition its truth. All chosen sites are watched in one pass over the tests. Where two values can't
be worked out side by side (a default, a class's body, a pattern, a walrus, `yield`) every test counts; where a statement is only left
out, every test that comes by.
"""

from __future__ import annotations

import ast
import copy
from collections import defaultdict
from collections.abc import Callable
from typing import Any

import numpy as np

from .sites import PACKAGE, Change, Site, changes, walk

PROBE = "__mutation_probe__"
EFFECTS = {"append", "pop", "next", "add", "extend", "update", "send", "popleft", "remove", "setdefault", "insert", "sort"}
ALONE = ast.NamedExpr | ast.Yield | ast.YieldFrom | ast.Await


class Watch:
    """Numbers of the sites whose value differed since `met` was emptied; put into every instrumented module."""

    def __init__(self) -> None:
        self.met: set[int] = set()
        self.comparing = False

    def passed(self, number: int) -> bool:
        """A statement that a mutant leaves out is passed."""
        if not self.comparing:
            self.met.add(number)
        return True

    def value(self, right: Callable[[], Any], *wrong: tuple[int, Callable[[], Any]]) -> Any:
        """The right value, after comparing it with each mutant's."""
        value = right()
        if self.comparing:
            return value
        self.comparing = True
        for number, of_mutant in wrong:
            if number not in self.met:
                try:
                    if not same(value, of_mutant()):
                        self.met.add(number)
                except Exception:
                    self.met.add(number)
        self.comparing = False
        return value


def same(a: object, b: object) -> bool:
    """Whether nothing after could tell two values apart. Lazy things always differ."""
    if type(a) is not type(b):
        return False
    if isinstance(a, np.ndarray) and isinstance(b, np.ndarray):
        return bool(a.dtype == b.dtype and a.shape == b.shape and np.array_equal(a, b, equal_nan=a.dtype.kind in "fc"))
    if isinstance(a, tuple | list) and isinstance(b, tuple | list):
        return len(a) == len(b) and all(map(same, a, b))
    return a is b or bool(a == b)


def instrumented(sites: list[tuple[int, Site]]) -> tuple[ast.Module, set[int]]:
    """The tree of one file with its numbered sites watched, and the numbers of those that can't be."""
    tree = ast.parse((PACKAGE / sites[0][1].file).read_text("utf-8"))
    above = {id(child): node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    watchable = _inside_functions(tree)
    blind: set[int] = set()
    expressions: dict[int, tuple[ast.expr, list[tuple[int, ast.AST, Change]]]] = {}
    statements: list[tuple[int, ast.stmt]] = []
    by_node = defaultdict(list)
    for number, site in sites:
        by_node[site.node].append((number, site.variant))
    for count, (node, parent, *_) in enumerate(walk(tree)):
        for number, variant in by_node.get(count, ()):
            change = list(changes(node, parent))[variant]
            outer = _outermost(node, above) if id(node) in watchable else None
            if outer is not None:
                expressions.setdefault(id(outer), (outer, []))[1].append((number, node, change))
            elif id(node) in watchable and isinstance(node, ast.stmt):
                statements.append((number, node))
            else:
                blind.add(number)
    for outer, ways in reversed(expressions.values()):  # inner ones first, as the walk goes from outside to inside
        _put(above[id(outer)], outer, _watched(outer, ways, isinstance(above[id(outer)], ast.If | ast.While)))
    for number, statement in statements:
        inside = ast.If(_call("passed", ast.Constant(number)), [copy.copy(statement)], [])
        _put(above[id(statement)], statement, inside)
    return ast.fix_missing_locations(tree), blind


def _inside_functions(tree: ast.Module) -> set[int]:
    """Nodes of function bodies, without defaults, patterns, and classes inside."""
    inside: set[int] = set()

    def down(node: ast.AST, within: bool) -> None:
        if within:
            inside.add(id(node))
        for field, value in ast.iter_fields(node):
            for child in value if isinstance(value, list) else (value,):
                if isinstance(child, ast.AST):
                    into = within if not isinstance(node, ast.FunctionDef | ast.Lambda) else field == "body"
                    down(child, into and not isinstance(child, ast.pattern | ast.ClassDef))

    down(tree, False)
    return inside


def _outermost(node: ast.AST, above: dict[int, ast.AST]) -> ast.expr | None:
    """The largest expression around a node that can be worked out twice."""
    if isinstance(node, ast.If):
        node = node.test
    best = None
    while isinstance(node, ast.expr | ast.keyword | ast.comprehension) and not _alone(node):
        if isinstance(node, ast.expr) and isinstance(getattr(node, "ctx", ast.Load()), ast.Load):
            best = node
        node = above[id(node)]
        if isinstance(node, ast.Lambda | ast.Starred):
            break
    return best


def _alone(node: ast.AST) -> bool:
    """Whether working an expression out twice would change something."""
    for part in ast.walk(node):
        if isinstance(part, ALONE):
            return True
        if isinstance(part, ast.Call):
            name = part.func.attr if isinstance(part.func, ast.Attribute) else getattr(part.func, "id", "")
            if name in EFFECTS:
                return True
    return False


def _watched(outer: ast.expr, ways: list[tuple[int, ast.AST, Change]], truth: bool) -> ast.expr:
    """What stands in the expression's place: the right one, and every mutant's to be compared."""

    def later(value: ast.expr) -> ast.expr:
        of = ast.Call(ast.Name("bool", ast.Load()), [value], []) if truth else value
        return ast.Lambda(ast.arguments(posonlyargs=[], args=[], kwonlyargs=[], kw_defaults=[], defaults=[]), of)

    wrong: list[ast.expr] = []
    for number, node, change in ways:
        changed = change(copy.deepcopy(node))
        mutant = changed.test if isinstance(changed, ast.If) else copy.deepcopy(outer, {id(node): changed})
        wrong.append(ast.Tuple([ast.Constant(number), later(mutant)], ast.Load()))
    return ast.copy_location(_call("value", later(outer), *wrong), outer)


def _put(parent: ast.AST, old: ast.AST, new: ast.AST) -> None:
    """Puts a node in the place of another."""
    for field, value in ast.iter_fields(parent):
        if value is old:
            setattr(parent, field, new)
        elif isinstance(value, list):
            for i, child in enumerate(value):
                if child is old:
                    value[i] = new


def _call(method: str, *given: ast.expr) -> ast.Call:
    return ast.Call(ast.Attribute(ast.Name(PROBE, ast.Load()), method, ast.Load()), list(given), [])
