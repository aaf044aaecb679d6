"""KiCad's file syntax: nested lists written, and read back."""

from __future__ import annotations

import re
import uuid
from typing import Any

NAMESPACE = uuid.UUID("6f1c9f7e-3a52-4c1e-9d0b-5a2f64b8c0de")
Atom = str | int | float | bool


class Word(str):
    """A bare word: written without quotes."""

    __slots__ = ()


def stable(*names: object) -> str:
    """A UUID that is the same each time for the same names."""
    return str(uuid.uuid5(NAMESPACE, "/".join(map(str, names))))


def number(value: float) -> str:
    """Micrometres are enough: 2.54, not 2.5400000001; no minus zero."""
    return f"{round(value, 4) + 0.0:.4f}".rstrip("0").rstrip(".")


def written(item: Any, depth: int = 0) -> str:
    """A nested list as text; lists of plain values on one line."""
    if isinstance(item, Word):
        return str(item)
    if isinstance(item, bool):
        return "yes" if item else "no"
    if isinstance(item, int | float):
        return number(item)
    if isinstance(item, str):
        return '"' + item.replace("\\", "\\\\").replace('"', '\\"') + '"'
    inner = [written(x, depth + 1) for x in item]
    if not any(isinstance(x, list | tuple) for x in item):
        return "(" + " ".join(inner) + ")"
    pad = "\t" * (depth + 1)
    head = [text for x, text in zip(item, inner, strict=True) if not isinstance(x, list | tuple)]
    tail = [text for x, text in zip(item, inner, strict=True) if isinstance(x, list | tuple)]
    return "(" + " ".join(head) + "".join(f"\n{pad}{text}" for text in tail) + "\n" + "\t" * depth + ")"


def s(name: str, *rest: Any) -> list[Any]:
    """One list: its name a bare word."""
    return [Word(name), *rest]


def read(text: str) -> list[Any]:
    """Text to nested lists of strings."""
    stack: list[list[Any]] = [[]]
    for token in re.findall(r'"(?:[^"\\]|\\.)*"|[()]|[^\s()"]+', text):
        if token == "(":
            stack.append([])
        elif token == ")":
            done = stack.pop()
            stack[-1].append(done)
        else:
            stack[-1].append(token[1:-1].replace('\\"', '"').replace("\\\\", "\\") if token.startswith('"') else token)
    first: list[Any] = stack[0][0]
    return first


def children(item: list[Any], name: str) -> list[list[Any]]:
    """The lists inside that begin with a name."""
    return [x for x in item if isinstance(x, list) and x and x[0] == name]
