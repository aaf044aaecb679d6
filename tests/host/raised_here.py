"""Which exception classes leave a function by its own `raise`: by its syntax tree, without running it."""

from __future__ import annotations

import ast
import builtins
import inspect
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import FunctionType
from typing import TypeGuard, get_args

Classes = tuple[type[BaseException], ...]
ANY = (Exception, BaseException)  # caught or annotated as one of these, it may be every class


@dataclass(frozen=True, slots=True)
class Around:
    """What stands around a statement: classes caught outside of it, and the handler that it is in, with its classes and its name."""

    caught: Classes = ()
    handled: Classes = ()
    name: str | None = None


@dataclass(frozen=True, slots=True)
class Names:
    """What a name in a function means: `there` of its module, `owner` the class whose method it is."""

    there: Mapping[str, object]
    owner: type | None = None

    def meaning(self, node: ast.expr | None) -> object:
        """The object that an expression names, as far as it can be told without running it; else None."""
        if isinstance(node, ast.Name):
            return self.there.get(node.id, getattr(builtins, node.id, None))
        if isinstance(node, ast.Attribute):
            own = isinstance(node.value, ast.Name) and node.value.id == "self"
            base = self.owner if own else self.meaning(node.value)
            return None if base is None else inspect.getattr_static(base, node.attr, None)
        return tuple(self.meaning(one) for one in node.elts) if isinstance(node, ast.Tuple) else None

    def classes(self, node: ast.expr | None) -> Classes:
        """Exception classes that an expression names: one, or a tuple of them."""
        value = self.meaning(node)
        return tuple(one for one in (value if isinstance(value, tuple) else (value,)) if _is_exception(one))

    def returned(self, helper: object) -> Classes:
        """What a helper of the same module gives back by its annotation, class by class; empty where that says no more than "any"."""
        if not isinstance(helper, FunctionType) or helper.__module__ != self.there.get("__name__"):
            return ()
        annotation = helper.__annotations__.get("return")
        if isinstance(annotation, str):
            nodes = ast.walk(ast.parse(annotation, mode="eval"))
            named = [self.meaning(node) for node in nodes if isinstance(node, ast.Name | ast.Attribute)]
        else:
            named = [*get_args(annotation), annotation]
        return tuple(one for one in named if _is_exception(one) and one not in ANY)


def raised(body: Iterable[ast.AST], names: Names, around: Around = Around()) -> Iterator[type[BaseException]]:
    """Classes raised by the statements of `body` and not caught within it; a function within a function is left out."""
    for node in body:
        if isinstance(node, ast.Raise):
            yield from (one for one in _classes_of(node.exc, names, around) if not issubclass(one, around.caught))
        elif isinstance(node, ast.Try):
            handlers = [(one, names.classes(one.type) if one.type else (BaseException,)) for one in node.handlers]
            held = (classes for handler, classes in handlers if not _raises_again(handler))
            caught = (*around.caught, *(one for classes in held for one in classes))
            yield from raised(node.body, names, replace(around, caught=caught))
            for handler, classes in handlers:
                yield from raised(handler.body, names, replace(around, handled=classes, name=handler.name))
            yield from raised([*node.orelse, *node.finalbody], names, around)
        elif not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield from raised(ast.iter_child_nodes(node), names, around)


def _classes_of(node: ast.expr | None, names: Names, around: Around) -> Classes:
    """Of the expression behind `raise`. A bare one, or the handler's own name, raises again what the handler caught."""
    if node is None or (isinstance(node, ast.Name) and node.id == around.name):
        return tuple(one for one in around.handled if one not in ANY)
    if isinstance(node, ast.IfExp):
        return (*_classes_of(node.body, names, around), *_classes_of(node.orelse, names, around))
    if isinstance(node, ast.Call):
        return names.classes(node.func) or names.returned(_plain(names.meaning(node.func)))
    return names.classes(node)


def _raises_again(handler: ast.ExceptHandler) -> bool:
    """Whether a handler lets go on what it caught, at least in some case."""
    raises = [node for node in ast.walk(handler) if isinstance(node, ast.Raise)]
    return any(one.exc is None or (isinstance(one.exc, ast.Name) and one.exc.id == handler.name) for one in raises)


def _plain(member: object) -> object:
    """A static or class method as the function that it holds."""
    return member.__func__ if isinstance(member, classmethod | staticmethod) else member


def _is_exception(value: object) -> TypeGuard[type[BaseException]]:
    return isinstance(value, type) and issubclass(value, BaseException)
