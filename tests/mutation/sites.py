"""Where the judge's source can be made wrong, and how: one small change of the syntax tree each.

Text for the reader (docstrings, f-strings, plain strings) and annotations are left alone.
"""

from __future__ import annotations

import ast
import copy
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "host" / "firstcrank" / "analysis"

Change = Callable[[ast.AST], ast.AST]

COMPARE: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
BINARY: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
NAMES = {
    "min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum", "argmax": "argmin",
    "argmin": "argmax", "lowest_v": "highest_v", "highest_v": "lowest_v", "start_s": "end_s", "end_s": "start_s",
    "early_s": "late_s", "late_s": "early_s", "duration_low_s": "duration_high_s", "duration_high_s": "duration_low_s",
}  # fmt: skip
ENUMS = {
    "Result": ("PASS", "WARN", "FAIL", "UNDECIDED", "NOT_MEASURED"),
    "Verdict": ("PASS", "FAIL", "NO_VERDICT"),
    "Phase": ("KEY_OFF", "KEY_ON", "TURN", "CRANK", "RELEASE", "AFTER"),
}


@dataclass(frozen=True, slots=True)
class Site:
    """One mutation. `node` counts the tree's nodes in the order of `ast.walk`; `variant` counts the changes of that node."""

    file: str
    line: int
    function: str
    what: str
    node: int
    variant: int
    digest: str

    @property
    def key(self) -> str:
        """The same as long as the file stays."""
        return f"{self.file}:{self.digest}:{self.node}:{self.variant}"


def module_of(file: str) -> str:
    """Dotted name of a file of the judge."""
    parts = Path(file).with_suffix("").parts
    return ".".join(("firstcrank", "analysis", *(p for p in parts if p != "__init__")))


def _short(node: ast.AST) -> str:
    text = ast.unparse(node)
    return text if len(text) <= 60 else text[:57] + "..."


def _describe(old: ast.AST, change: Change) -> str:
    return f"{_short(old)}  ->  {_short(change(copy.deepcopy(old)))}"


def _set(**fields: object) -> Change:
    def change(node: ast.AST) -> ast.AST:
        for name, value in fields.items():
            setattr(node, name, value)
        return node

    return change


def _negated(name: str) -> Change:
    """A condition always or never true."""
    return lambda node: _set(test=ast.Constant(name == "always"))(node)


def changes(node: ast.AST, parent: ast.AST | None) -> Iterator[Change]:
    """Every way in which one node is made wrong."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        for op in COMPARE.get(type(node.ops[0]), ()):
            yield _set(ops=[op()])
    elif isinstance(node, ast.BinOp) and type(node.op) in BINARY:
        yield _set(op=BINARY[type(node.op)]())
    elif isinstance(node, ast.BoolOp):
        yield _set(op=ast.Or() if isinstance(node.op, ast.And) else ast.And())
        if len(node.values) > 1:
            yield _set(values=node.values[1:]) if len(node.values) > 2 else lambda n: n.values[1]  # type: ignore[attr-defined]
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub | ast.Invert):
        yield lambda n: n.operand  # type: ignore[attr-defined]
    elif isinstance(node, ast.Constant):
        yield from _constants(node)
    elif isinstance(node, ast.Return) and node.value is not None and not isinstance(node.value, ast.Constant):
        yield _set(value=ast.Constant(None))
    elif isinstance(node, ast.AugAssign) or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)):
        yield lambda n: ast.Pass()
    elif isinstance(node, ast.If | ast.IfExp):
        yield _negated("always")
        yield _negated("never")
    elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in ENUMS:
        names = ENUMS[node.value.id]
        if node.attr in names:
            yield _set(attr=names[(names.index(node.attr) + 1) % len(names)])
    elif isinstance(node, ast.Attribute) and node.attr in NAMES and isinstance(node.ctx, ast.Load):
        yield _set(attr=NAMES[node.attr])
    elif isinstance(node, ast.Name) and node.id in NAMES and isinstance(parent, ast.Call) and parent.func is node:
        yield _set(id=NAMES[node.id])
    elif isinstance(node, ast.Continue):
        yield lambda n: ast.Break()


def _constants(node: ast.Constant) -> Iterator[Change]:
    value = node.value
    if isinstance(value, bool):
        yield _set(value=not value)
    elif isinstance(value, int):
        yield _set(value=value + 1)
        yield _set(value=value - 1)
    elif isinstance(value, float):
        yield _set(value=value * 2.0 if value else 1.0)
        yield _set(value=value / 2.0 if value else -1.0)


def _is_text(parent: ast.AST | None, child: ast.AST, name: str) -> bool:
    """Whether a field of a node is text or a type and no decision."""
    if isinstance(child, ast.JoinedStr | ast.FormattedValue):
        return True
    return name in ("annotation", "returns", "decorator_list", "type_params") or isinstance(child, ast.Import | ast.ImportFrom)


def walk(tree: ast.Module) -> Iterator[tuple[ast.AST, ast.AST | None, str, int | None, str]]:
    """(node, parent, field, index, function) for every node that decides, always in one order."""
    stack: list[tuple[ast.AST, ast.AST | None, str, int | None, str]] = [(tree, None, "", None, "module")]
    while stack:
        node, parent, name, index, function = stack.pop()
        yield node, parent, name, index, function
        inner = function
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            inner = node.name if function == "module" else f"{function}.{node.name}"
        below = []
        for field_name, value in ast.iter_fields(node):
            for i, child in enumerate(value) if isinstance(value, list) else ((None, value),):
                if isinstance(child, ast.AST) and not _is_text(node, child, field_name):
                    below.append((child, node, field_name, i, inner))
        stack.extend(reversed(below))


def _digest(text: str) -> str:
    """Of what a file does: layout, comments and the words of docstrings are left out."""
    tree = ast.parse(text)
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str):
            node.value.value = ""
    return sha256(ast.dump(tree).encode()).hexdigest()[:8]


def sites_of(path: Path) -> list[Site]:
    """Every mutation of one file."""
    text = path.read_text("utf-8")
    digest = _digest(text)
    name = str(path.relative_to(PACKAGE))
    found = []
    for count, (node, parent, _, _, function) in enumerate(walk(ast.parse(text))):
        for variant, change in enumerate(changes(node, parent)):
            found.append(Site(name, getattr(node, "lineno", 0), function, _describe(node, change), count, variant, digest))
    return found


@cache
def all_sites() -> list[Site]:
    """Every mutation of the judge."""
    return [site for path in sorted(PACKAGE.rglob("*.py")) for site in sites_of(path)]


def sample(count: int, seed: int) -> list[Site]:
    """A seeded sample, in the order of the draw."""
    sites = all_sites()
    return random.Random(seed).sample(sites, min(count, len(sites)))


def mutated(site: Site) -> ast.Module:
    """The syntax tree of the file with that one change. Raises ValueError where the file has changed since."""
    text = (PACKAGE / site.file).read_text("utf-8")
    if _digest(text) != site.digest:
        raise ValueError(f"{site.file} has changed")
    tree = ast.parse(text)
    for count, (node, parent, name, index, _) in enumerate(walk(tree)):
        if count != site.node:
            continue
        change = list(changes(node, parent))[site.variant]
        replacement = ast.copy_location(change(node), node)
        if parent is not None and index is None:
            setattr(parent, name, replacement)
        elif parent is not None:
            getattr(parent, name)[index] = replacement
        return ast.fix_missing_locations(tree)
    raise ValueError(f"no node {site.node} in {site.file}")
