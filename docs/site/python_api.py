"""The page of the Python API: names, signatures, docstrings. Sections in Google's style (Args, Returns ...) become lists of terms."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
import textwrap
from collections.abc import Iterator
from types import ModuleType
from typing import ForwardRef

from docstring_parser import Docstring, DocstringMeta, DocstringParam, DocstringRaises, DocstringReturns, DocstringStyle, parse

# What other people's programs may use. docs/versions.md says what is promised of it.
API: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("firstcrank.tracefiles.table", ("load",)),
    ("firstcrank.recording", ("Recording",)),
    ("firstcrank.trace", ("Trace", "Channel", "KeyRuns", "CloseUp", "Hole", "Uncertainty")),
    ("firstcrank.limits", ("Limits", "shipped", "read_limits")),
    ("firstcrank.calibration", ("Calibration", "ChannelCalibration", "nominal_channel", "read_calibration")),
    ("firstcrank.model.context", ("Context",)),
    ("firstcrank.analysis.verdict", ("judge",)),
    ("firstcrank.model.judgement", ("Judgement", "FeedVerdict", "Finding", "Cause", "Dropout", "Crank", "Interval", "Border")),
    ("firstcrank.model.measured", ("Measured",)),
    ("firstcrank.link.base", ("Link",)),
    ("firstcrank.link.open", ("open_link",)),
    ("firstcrank.link.board_client", ("BoardClient",)),
    ("firstcrank.recorder", ("Plan", "RecordingObserver", "record")),
    ("firstcrank.jobs.store", ("open_store", "Store")),
    ("firstcrank.jobs.filing", ("attach",)),
    ("firstcrank.jobs.reading", ("Reading",)),
    ("firstcrank.jobs.vehicle", ("Known",)),
    ("firstcrank.errors", ("FirstcrankError",)),
)
WIDTH = 76  # characters of a signature that stand beside the navigation without scrolling
NOT_CALLED = (
    "__init__",
    "__post_init__",
    "__enter__",
    "__exit__",
)  # by name; what the first take stands in the docstring of the class
TITLES = {"param": "Args", "attribute": "Attributes", "returns": "Returns", "yields": "Yields", "raises": "Raises"}


def api() -> str:
    """The page, in Markdown."""
    lines = [
        "# Python API",
        "",
        "Volts, seconds, ohms as floats; arrays are NumPy's. [Versions](../versions.md) says what may change.",
        "",
        " · ".join(f"[{name}](#{name.lower()})" for _, names in API for name in names),
        "",
    ]
    for module_name, names in API:
        module = importlib.import_module(module_name)
        for name in names:
            lines += _entry(module, name)
    return "\n".join(lines)


def _entry(module: ModuleType, name: str) -> list[str]:
    item = getattr(module, name)
    lines = [f"## {name}", "", "```python", f"from {module.__name__} import {name}"]
    lines += [*_call(name, item), "```", "", *documented(item.__doc__)]
    if inspect.isclass(item):
        members = list(methods_of(item))
        properties = [node for node in members if isinstance(inspect.getattr_static(item, node.name), property)]
        if properties:
            lines += ["**Properties**", ""]
        for node in properties:
            lines += _term(node.name, " ".join((ast.get_docstring(node) or "").split()))
        for node in (node for node in members if node not in properties):
            lines += [f"### {name}.{node.name}", "", "```python", *_call(node.name, getattr(item, node.name)), "```", ""]
            lines += documented(ast.get_docstring(node))
    return lines


def methods_of(item: type) -> Iterator[ast.FunctionDef]:
    """Methods and properties that a class itself defines for its users: those without underscore, and `__getitem__` and its like."""
    (tree,) = ast.parse(textwrap.dedent(inspect.getsource(item))).body
    assert isinstance(tree, ast.ClassDef)
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and (node.name[:2] == "__" or node.name[0] != "_") and node.name not in NOT_CALLED:
            yield node


def _call(name: str, item: object) -> list[str]:
    """How it is called, a parameter on a line where one line does not hold them all; empty where it is not called by its users."""
    if not callable(item) or (inspect.isclass(item) and (issubclass(item, Exception) or getattr(item, "_is_protocol", False))):
        return []
    signature = inspect.signature(item)
    shown = [_parameter(p) for p in signature.parameters.values() if p.name != "self"]
    back = "" if inspect.isclass(item) else f" -> {_annotation(signature.return_annotation)}"
    whole = f"{name}({', '.join(shown)}){back}"
    if len(whole) <= WIDTH:
        return [whole]
    return [f"{name}(", *(f"    {text}," for text in shown), f"){back}"]


def _parameter(parameter: inspect.Parameter) -> str:
    star = (
        "*"
        if parameter.kind is inspect.Parameter.VAR_POSITIONAL
        else "**"
        if parameter.kind is inspect.Parameter.VAR_KEYWORD
        else ""
    )
    text = f"{star}{parameter.name}: {_annotation(parameter.annotation)}"
    if parameter.default is inspect.Parameter.empty:
        return text
    default = repr(parameter.default)
    return f"{text} = {'...' if '<' in default else default}"  # what no source text makes again


def _annotation(annotation: object) -> str:
    if isinstance(annotation, ForwardRef):
        return annotation.__forward_arg__
    return annotation if isinstance(annotation, str) else getattr(annotation, "__name__", str(annotation))


def documented(text: str | None) -> list[str]:
    """A docstring as lines of Markdown: its paragraphs, then each section as a list of terms."""
    doc = parse(inspect.cleandoc(text or ""), style=DocstringStyle.GOOGLE)
    lines: list[str] = []
    for paragraph in filter(None, re.split(r"\n\s*\n", _description(doc))):
        lines += [escaped(" ".join(paragraph.split())), ""]
    for kind, title in TITLES.items():
        entries = [entry for entry in doc.meta if entry.args[0] == kind]
        if entries:
            lines += [f"**{title}**", ""]
        for entry in entries:
            name, rest = _named(entry)
            lines += _term(name, rest) if name else [escaped(rest), ""]
    return lines


def _description(doc: Docstring) -> str:
    return "\n\n".join(part for part in (doc.short_description, doc.long_description) if part)


def _named(entry: DocstringMeta) -> tuple[str, str]:
    """The term of an entry and its text; no term for what comes back."""
    text = " ".join((entry.description or "").split())
    if isinstance(entry, DocstringParam):
        return entry.arg_name, text
    if isinstance(entry, DocstringRaises):
        return entry.type_name or "", text
    before = f"{entry.type_name}: " if isinstance(entry, DocstringReturns) and entry.type_name else ""
    return "", before + text


def _term(name: str, text: str) -> list[str]:
    return [f"`{name}`", f": {escaped(text)}", ""]


def escaped(text: str) -> str:
    """Text that Markdown shows as it is. What stands between backticks is code already; what stands in quotes is a value, so code too."""
    parts = re.split(r"""(`[^`]*`|b?"[^"`]*")""", text)
    plain = (re.sub(r"([\\*_\[\]<>|#~^])", r"\\\1", part) for part in parts[::2])
    code = [part if part.startswith("`") else f"`{part}`" for part in parts[1::2]]
    return "".join(a + b for a, b in zip(plain, [*code, ""], strict=True))
