"""Keys that were published stay within their schema's number: none goes, none gets another type, none that was always there may lack.

`json_keys.txt` has a line for each: schema and number, key, type, "not always" where it may lack; and one for each text that is one of
a few, which stay as they are. Lines are added and never taken away.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
KEYS = Path(__file__).parent / "json_keys.txt"
SCHEMAS = ROOT / "host" / "firstcrank" / "data" / "schemas"


def schemas() -> dict[str, Any]:
    """By name."""
    return {path.name.removesuffix(".schema.json"): json.loads(path.read_text("utf-8")) for path in SCHEMAS.iterdir()}


def numbers() -> dict[str, int]:
    """Schema -> its number today."""
    return {name: int(schema["title"].rpartition(" schema ")[2]) for name, schema in schemas().items()}


def choices(schema: Any, node: Any, at: str) -> Iterator[str]:
    """KEY | one of ... for each text that is one of a few, by its whole path."""
    if "$ref" in node:
        node = schema["$defs"][node["$ref"].rpartition("/")[2]]
    if "enum" in node:
        yield f"{at} | one of {', '.join(sorted(map(str, node['enum'])))}"
    for key, inner in node.get("properties", {}).items():
        yield from choices(schema, inner, f"{at}.{key}" if at else key)
    for option in node.get("anyOf", ()):
        yield from choices(schema, option, at)
    if "items" in node:
        yield from choices(schema, node["items"], f"{at}[]")
    if isinstance(node.get("additionalProperties"), dict):
        yield from choices(schema, node["additionalProperties"], f"{at}.*")


def of_today() -> set[str]:
    """A line for each key of docs/json.md, and for each text that is one of a few."""
    page = (ROOT / "docs" / "json.md").read_text("utf-8")
    made = schemas()
    lines = {f"{name} {number} | {line}" for name, number in numbers().items() for line in choices(made[name], made[name], "")}
    for name, number in numbers().items():
        table = page.split(f"<!-- {name}: by make schemas -->\n", 1)[1].split("<!-- end -->", 1)[0]
        for key, kind, meaning in re.findall(r"^\| `([^`]+)` \| ([^|]+?) \|(.*)\|$", table, re.M):
            lines.add(f"{name} {number} | {key} | {kind}" + (" | not always" if "not always there" in meaning else ""))
    return lines


def kept(published: set[str], today: set[str]) -> list[str]:
    """Lines of the schemas' numbers of today that are no more."""
    heads = {f"{name} {number}" for name, number in numbers().items()}
    return sorted(line for line in published - today if line.partition(" | ")[0] in heads)


def test_no_published_key_goes_within_its_schemas_number() -> None:
    assert kept(set(KEYS.read_text("utf-8").splitlines()), of_today()) == []


def test_a_new_key_is_added_to_the_list() -> None:
    lines = KEYS.read_text("utf-8").splitlines()
    assert len(lines) == len(set(lines)) > 200
    assert sorted(of_today() - set(lines)) == []


@pytest.mark.parametrize(
    ("line", "becomes"),
    [
        ("judge 2 | verdict | string", None),
        ("judge 2 | verdict | string", "judge 2 | verdict | string | not always"),
        ("divider 1 | networks[].ratio | number", "divider 1 | networks[].ratio | string"),
        ("judge 2 | verdict | one of FAIL, NO VERDICT, PASS", "judge 2 | verdict | one of FAIL, NO VERDICT, PASS, PERHAPS"),
    ],
)
def test_what_went_or_changed_is_found(line: str, becomes: str | None) -> None:
    today = of_today()
    assert line in today
    changed = (today - {line}) | ({becomes} if becomes else set())
    assert kept(today, changed) == [line]
    assert kept({*today, "judge 1 | long_gone | string"}, today) == []
