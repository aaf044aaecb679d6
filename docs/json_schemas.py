"""Writes the JSON Schemas of what the program prints and writes as JSON, and the tables of docs/json.md, from the types of the code.

`python docs/json_schemas.py` (make schemas). The types stand where the values are made; beside a type stands what a key means, and the
words or the pattern that a text keeps to. A published schema is open: a key that it does not name may be there.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, NamedTuple, NotRequired, Required, get_args, get_origin, get_type_hints, is_typeddict

import msgspec

from firstcrank.analysis.as_json import SCHEMA as JUDGEMENT
from firstcrank.board.check import CheckTable
from firstcrank.cli.divider_table import DividerTable
from firstcrank.cli.doctor import DoctorTable
from firstcrank.model.judgement_table import JudgementTable
from firstcrank.report.hand_over import SCHEMA as JOB
from firstcrank.report.job_table import JobTable, Pattern
from firstcrank.wire_bodies import IdentityBody
from firstcrank.wiring.feed import WireTable
from firstcrank.wiring.terminals import TerminalsTable

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "host" / "firstcrank" / "data" / "schemas"
PAGE = ROOT / "docs" / "json.md"
DIALECT = "https://json-schema.org/draft/2020-12/schema"
Node = dict[str, Any]


class Printed(NamedTuple):
    """One kind of JSON: its name, what writes it, its type, its number, which keys are always there (None: as the type says)."""

    name: str
    by: str
    table: type
    number: int = 1
    always: tuple[str, ...] | None = None
    every: bool = True


PRINTED = (
    Printed("judge", "judge --json", JudgementTable, JUDGEMENT),
    Printed("doctor", "doctor --json", DoctorTable),
    Printed("board-check", "board check --json", CheckTable),
    Printed("board-info", "board info --json", IdentityBody, always=("product", "firmware"), every=False),  # as handshakes ask
    Printed("wire", "wire --json", WireTable),
    Printed("wire-terminals", "wire --terminals --json", TerminalsTable),
    Printed("divider", "divider --json", DividerTable),
    Printed("job", "jobs export, as job.json", JobTable, JOB, every=False),  # holds what earlier versions filed
)


def schema(printed: Printed) -> Node:
    """The schema of one kind."""
    _, parts = msgspec.json.schema_components([printed.table], schema_hook=_anything, ref_template="#/$defs/{name}")
    found = {kind.__name__: kind for kind in _kinds(printed.table)}
    for name, part in parts.items():
        _described(part, found[name], printed.every)
    top = parts.pop(printed.table.__name__)
    if printed.always:
        top["required"] = list(printed.always)
    if "schema" in top["properties"]:
        top["properties"]["schema"] = {"const": printed.number}
    top["title"] = f"firstcrank {printed.by}, schema {printed.number}"
    made = {"$schema": DIALECT, **top, **({"$defs": parts} if parts else {})}
    plain: Node = json.loads(json.dumps(made).replace('{"title": "anything"}', "{}"))
    return plain


def _anything(kind: type) -> Node:
    if kind is not object:
        raise NotImplementedError(kind)
    return {"title": "anything"}  # the library takes no empty one


def _kinds(kind: Any) -> Iterator[type]:
    """Every table and value class that a type holds, itself among them."""
    if is_typeddict(kind) or dataclasses.is_dataclass(kind):
        yield kind
        for hint in get_type_hints(kind).values():
            yield from _kinds(hint)
    for inner in get_args(kind):
        yield from _kinds(inner)


def _described(part: Node, kind: type, every: bool) -> None:
    """Adds what stands beside the types: meanings, words, patterns."""
    part["description"] = " ".join((kind.__doc__ or "").partition("\n\n")[0].split())
    hints = get_type_hints(kind, include_extras=True)
    part["properties"] = {key: part["properties"][key] for key in hints}  # in the order in which they are printed
    for key, of in part["properties"].items():
        of.pop("default", None)
        for beside in _beside(hints[key]):
            if isinstance(beside, Pattern):
                of["pattern"] = str(beside)
            elif isinstance(beside, type) and issubclass(beside, StrEnum):
                of.get("items", of)["enum"] = _allowed(beside, of)  # of a list: of its entries
            elif isinstance(beside, str):
                of["description"] = beside
    part["required"] = [key for key in hints if every or key in part["required"]]


def _beside(hint: Any) -> tuple[object, ...]:
    while get_origin(hint) in (NotRequired, Required):
        (hint,) = get_args(hint)
    return get_args(hint)[1:] if get_origin(hint) is Annotated else ()


def _allowed(labels: type[StrEnum], of: Node) -> list[str | None]:
    null: list[None] = [None] if {"type": "null"} in of.get("anyOf", ()) else []
    return [*(label.value for label in labels), *null]


def rows(printed: Printed, known: dict[str, str]) -> Iterator[str]:
    """The table of one kind. `known`: what has been described, and where; it is added to."""
    whole = schema(printed)
    known[printed.table.__name__] = ""
    yield "| Key | Type | Meaning |"
    yield "|---|---|---|"
    yield from _rows(whole, whole.get("$defs", {}), "", known)


def _rows(part: Node, parts: Node, before: str, known: dict[str, str]) -> Iterator[str]:
    for key, of in part["properties"].items():
        path, inner = f"{before}{key}", _inner(of)
        meaning = [_meaning(of, part, key)]
        if inner in known:
            meaning.append(f"as `{known[inner]}`" if known[inner] else "")
        yield f"| `{path}` | {_type(of)} | {'; '.join(filter(None, meaning))} |".replace("  |", " |")
        if inner and inner not in known:
            known[inner] = path
            steps = "[]." if of.get("type") == "array" else ".*." if "additionalProperties" in of else "."
            yield from _rows(parts[inner], parts, path + steps, known)


def _options(of: Node) -> list[Node]:
    options: list[Node] = of.get("anyOf", [of])
    return options


def _inner(of: Node) -> str:
    """The part that a key, its entries or its values are of; empty for none."""
    for option in _options(of):
        for node in (option, option.get("items", {}), option.get("additionalProperties", {})):
            if "$ref" in node:
                return str(node["$ref"]).rpartition("/")[2]
    return ""


def _type(of: Node) -> str:
    return " or ".join(_type_of(option) for option in _options(of))


def _type_of(of: Node) -> str:
    if "const" in of:
        return "integer"
    if "enum" in of:
        return "string"
    if of.get("type") == "array":
        return f"list of {_type_of(of['items'])}s"
    return str(of.get("type", "object"))


def _meaning(of: Node, part: Node, key: str) -> str:
    """Its text, with the words that it may be where the text does not name them."""
    if "const" in of:
        return str(of["const"])
    text = str(of.get("description", ""))
    labels = [f"`{label}`" for label in of.get("enum", of.get("items", {}).get("enum", ())) if label]
    if not all(label in text for label in labels):
        text = f"{text}: {', '.join(labels)}" if text else ", ".join(labels)
    if key not in part.get("required", ()):
        text += "; not always there" if text else "not always there"
    return text.replace("|", "\\|")


def page(text: str) -> str:
    """docs/json.md with its tables of today, each between its two marks. Raises ValueError where one has no place."""
    known: dict[str, str] = {}
    for printed in PRINTED:
        begin, end = f"<!-- {printed.name}: by make schemas -->\n", "<!-- end -->"
        if text.count(begin) != 1:
            raise ValueError(f"{PAGE} has {text.count(begin)} places for {printed.name}")
        before, _, behind = text.partition(begin)
        table = "".join(f"{row}\n" for row in rows(printed, known))
        text = before + begin + table + end + behind.partition(end)[2]
    return text


def texts() -> dict[Path, str]:
    """Every file that is written, with its text."""
    made = {FOLDER / f"{p.name}.schema.json": json.dumps(schema(p), ensure_ascii=False, indent=1) + "\n" for p in PRINTED}
    return {**made, PAGE: page(PAGE.read_text("utf-8"))}


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for path, text in texts().items():
        path.write_text(text, "utf-8", newline="\n")
