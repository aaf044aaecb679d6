"""Compares a docstring in Google's style with what it describes: parameters, fields, what comes back, what is raised."""

from __future__ import annotations

import ast
import builtins
import dataclasses
import importlib.util
import inspect
import re
import sys
import textwrap
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import FunctionType, ModuleType

from docstring_parser import Docstring, DocstringParam, DocstringReturns, DocstringStyle, ParseError, parse

from firstcrank import errors
from tests.host.raised_here import Names, raised


def _page() -> ModuleType:
    spec = importlib.util.spec_from_file_location("python_api", Path(__file__).parents[2] / "docs" / "site" / "python_api.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


PAGE = _page()  # what the reference prints is what is compared
UNIT = re.compile(
    r"(?i)\b(volts?|seconds?|ohms?|farads?|microseconds|rpm|codes?|degrees|ampere|relative|of reading|unit|from 0 to 1)\b|°C"
)
TITLES = [f"{title}:" for title in PAGE.TITLES.values()]
MAKING = ("__init__", "__post_init__")  # what they take and raise stands in the docstring of the class


def faults_of(item: object) -> list[str]:
    """What is wrong with the docstrings of a function, or of a class and its public methods; empty where nothing is."""
    assert isinstance(item, type | FunctionType)
    try:
        if isinstance(item, FunctionType):
            return _of_function(item, item.__name__, item.__globals__, None)
        return [*_of_class(item), *(fault for node in PAGE.methods_of(item) for fault in _of_method(item, node))]
    except ParseError as error:
        return [f"{item.__name__}: {error}"]


def syntax_of(item: type | FunctionType) -> ast.ClassDef | ast.FunctionDef:
    """The syntax tree of a class or function."""
    (node,) = ast.parse(textwrap.dedent(inspect.getsource(item))).body
    assert isinstance(node, ast.ClassDef | ast.FunctionDef)
    return node


def _of_method(owner: type, node: ast.FunctionDef) -> list[str]:
    member = inspect.getattr_static(owner, node.name)
    title = f"{owner.__name__}.{node.name}"
    names = vars(sys.modules[owner.__module__])
    if isinstance(member, property):
        return _of_property(member, title, names, owner)
    function = member.__func__ if isinstance(member, classmethod | staticmethod) else member
    assert isinstance(function, FunctionType)
    return _of_function(function, title, names, owner, bound=not isinstance(member, staticmethod))


def _of_property(member: property, title: str, names: Mapping[str, object], owner: type) -> list[str]:
    doc = _parsed(member.__doc__)
    if doc is None:
        return [f"{title}: no docstring"]
    assert isinstance(member.fget, FunctionType)
    annotation = str(inspect.signature(member.fget).return_annotation)
    faults = [*_of_text(doc.description, annotation), *_of_raises(doc, _raised(member.fget, names, owner), names)]
    return [f"{title}: {fault}" for fault in faults]


def _of_function(
    function: FunctionType, title: str, names: Mapping[str, object], owner: type | None, bound: bool = True
) -> list[str]:
    doc = _parsed(function.__doc__)
    if doc is None:
        return [f"{title}: no docstring"]
    signature = inspect.signature(function)
    parameters = [p for p in signature.parameters.values() if not p.name.startswith("_")][1 if owner and bound else 0 :]
    faults = _of_names("parameter", {p.name: str(p.annotation) for p in parameters}, _described(doc, "param"))
    faults += [f"attribute {d.arg_name} of a function" for d in _described(doc, "attribute")]
    faults += _of_result(doc, str(signature.return_annotation), inspect.isgeneratorfunction(function))
    faults += _of_raises(doc, _raised(function, names, owner), names)
    return [f"{title}: {fault}" for fault in faults]


def _of_class(item: type) -> list[str]:
    doc = _parsed(item.__doc__)
    if doc is None:
        return [f"{item.__name__}: no docstring"]
    names = vars(sys.modules[item.__module__])
    raised: set[type[BaseException]] = set()
    for name in MAKING:
        made = vars(item).get(name)
        if isinstance(made, FunctionType) and made.__code__.co_filename == inspect.getsourcefile(item):
            raised |= _raised(made, names, item)
    faults = _of_names("attribute", _fields(item), _described(doc, "attribute"))
    faults += _of_names("parameter", _taken(item), _described(doc, "param"))
    return [f"{item.__name__}: {fault}" for fault in (*faults, *_of_raises(doc, raised, names))]


def _fields(item: type) -> dict[str, str]:
    """Public fields of a class with their annotations: by its signature where that is made from them, else by its source."""
    if dataclasses.is_dataclass(item) or issubclass(item, tuple):
        return {p.name: str(p.annotation) for p in inspect.signature(item).parameters.values()}
    fields: dict[str, str] = {}
    body = syntax_of(item).body
    made = [node for node in body if isinstance(node, ast.FunctionDef) and node.name == "__init__"]
    for node in (*body, *(below for init in made for below in ast.walk(init))):
        for target in _targets(node):
            text = ast.unparse(target)
            name = text.removeprefix("self.") if text.startswith("self.") or node in body else "_"
            if name.isidentifier() and not name.startswith("_"):
                fields[name] = ast.unparse(node.annotation) if isinstance(node, ast.AnnAssign) else ""
    return fields


def _targets(node: ast.AST) -> list[ast.expr]:
    """What a statement gives a value, one by one."""
    targets = node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
    return [one for target in targets for one in (target.elts if isinstance(target, ast.Tuple) else [target])]


def _taken(item: type) -> dict[str, str]:
    """What the class's own `__init__` takes; empty where it writes none."""
    if any(isinstance(node, ast.FunctionDef) and node.name == "__init__" for node in syntax_of(item).body):
        return {p.name: str(p.annotation) for p in inspect.signature(item).parameters.values()}
    return {}


def _parsed(text: str | None) -> Docstring | None:
    """None for no docstring. Raises ParseError for a line that the parser would leave out: behind a section and not within one."""
    if not text or not text.strip():
        return None
    lines = inspect.cleandoc(text).splitlines()
    titles = [i for i, line in enumerate(lines) if line in TITLES]
    for line in lines[titles[0] :] if titles else []:
        if line and not line.startswith(" ") and line not in TITLES:
            raise ParseError(f"{line!r} stands in no section")
    return parse(text, style=DocstringStyle.GOOGLE)


def _described(doc: Docstring, kind: str) -> list[DocstringParam]:
    return [entry for entry in doc.meta if isinstance(entry, DocstringParam) and entry.args[0] == kind]


def _of_names(what: str, wanted: Mapping[str, str], described: Iterable[DocstringParam]) -> list[str]:
    """Each name once, none that is not there, a unit beside a float, a shape beside an array."""
    entries = list(described)
    given = [entry.arg_name.lstrip("*") for entry in entries]
    faults = [f"{what} {name} is not described" for name in wanted if name not in given]
    faults += [
        f"{what} {name} is described {given.count(name)} times" for name in dict.fromkeys(given) if given.count(name) > 1
    ]
    faults += [f"there is no {what} {name}" for name in given if name not in wanted]
    for name, entry in zip(given, entries, strict=True):
        faults += [f"{what} {name} {fault}" for fault in _of_text(entry.description, wanted.get(name, ""))]
    return faults


def _of_text(text: str | None, annotation: str) -> list[str]:
    if not (text or "").strip():
        return ["has no text"]
    faults = []
    if re.search(r"\bfloat\b|Float", annotation) and not UNIT.search(text or ""):
        faults.append("has no unit")
    if "Array" in annotation and "shape" not in (text or ""):
        faults.append("has no shape")
    return faults


def _of_result(doc: Docstring, annotation: str, yields: bool) -> list[str]:
    entries = [entry for entry in doc.meta if isinstance(entry, DocstringReturns)]
    title = "Yields" if yields else "Returns"
    if annotation == "None":
        return [f"{title} where None comes back"] if entries else []
    if len(entries) != 1 or entries[0].is_generator is not yields:
        return [f"one section {title} is wanted, there are {len(entries)} (Returns, Yields)"]
    return [
        f"{title} {fault}" for fault in _of_text(f"{entries[0].type_name or ''} {entries[0].description or ''}", annotation)
    ]


def _of_raises(doc: Docstring, raised: set[type[BaseException]], names: Mapping[str, object]) -> list[str]:
    given = [entry.type_name or "" for entry in doc.raises]
    there = {**vars(builtins), **vars(errors), **names}
    found = {name: there.get(name) for name in given}
    faults = [
        f"there is no exception {name}"
        for name, value in found.items()
        if not (isinstance(value, type) and issubclass(value, BaseException))
    ]
    faults += [f"{name} is in Raises {given.count(name)} times" for name in found if given.count(name) > 1]
    faults += [f"{entry.type_name} in Raises has no text" for entry in doc.raises if not (entry.description or "").strip()]
    missing = sorted(cls.__name__ for cls in raised if cls not in found.values())
    return faults + [f"{name} is raised and not in Raises" for name in missing]


def _raised(function: FunctionType, names: Mapping[str, object], owner: type | None) -> set[type[BaseException]]:
    return set(raised(syntax_of(function).body, Names(names, owner)))
