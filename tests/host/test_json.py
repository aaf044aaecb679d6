"""`judge --json` as docs/json.md says: every key with its type, from real judgements through the command itself."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from firstcrank.cli.main import main

from .sim_recording import make, recorded

PAGE = Path(__file__).parents[2] / "docs" / "json.md"
TYPES: dict[str, tuple[type, ...]] = {
    "integer": (int,),
    "number": (float, int),
    "string": (str,),
    "boolean": (bool,),
    "object": (dict,),
    "list of strings": (list,),
    "list of objects": (list,),
    "null": (type(None),),
}
FINDING = "findings[]."


def documented() -> dict[str, str]:
    """Key -> type as the page says of `judge`."""
    section = PAGE.read_text("utf-8").split("\n## judge\n", 1)[1].split("\n## ", 1)[0]
    return dict(re.findall(r"^\| `([^`]+)` \| ([^|]+?) \|", section, re.M))


def paths(value: Any, at: str = "") -> Iterator[tuple[str, Any]]:
    """Every key of an object with its value; entries of a list by `[]`."""
    for key, item in value.items():
        path = f"{at}{key}"
        yield path, item
        if isinstance(item, dict):
            yield from paths(item, path + ".")
        elif isinstance(item, list):
            for entry in item:
                if isinstance(entry, dict):
                    yield from paths(entry, path + "[].")
                else:
                    assert isinstance(entry, str), path


def fits(value: Any, kinds: str) -> bool:
    allowed = [kind for word in kinds.split(" or ") for kind in TYPES[word]]
    if isinstance(value, bool):
        return bool in allowed
    return isinstance(value, tuple(allowed))


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """What the command prints of starts that between them have every part."""
    folder = tmp_path_factory.mktemp("json")
    files = []
    for name in ("healthy", "feed_dead_in_start", "short_crank", "module_supply_drop"):
        path = folder / f"{name}.fcr"
        if name == "module_supply_drop":
            make(name, path, leads=("battery", "key_switch", "module_supply", "module_ground", "starter_coil"))
        else:
            path.write_bytes(recorded(name))
        files.append(str(path))
    import contextlib
    import io

    out = io.StringIO()
    with contextlib.redirect_stdout(out), pytest.raises(SystemExit) as left:
        main(["judge", "--json", *files])
    assert left.value.code == 1
    return [json.loads(line) for line in out.getvalue().splitlines()]


def test_every_key_that_is_printed_is_documented_with_its_type_and_none_else(printed: list[dict[str, Any]]) -> None:
    page = documented()
    seen: dict[str, list[Any]] = {}
    for judged in printed:
        for path, value in paths(judged):
            seen.setdefault(path.replace("other_faults[].", FINDING), []).append(value)
    assert set(seen) == set(page)
    wrong = {path: (page[path], value) for path, values in seen.items() for value in values if not fits(value, page[path])}
    assert wrong == {}


def test_the_overall_verdict_is_the_worst_and_the_feeds_stands_beside_it(printed: list[dict[str, Any]]) -> None:
    good, lost, short, fault = printed
    assert {judged["schema"] for judged in printed} == {2}
    assert (good["verdict"], good["feed"]["verdict"], good["other_faults"]) == ("PASS", "PASS", [])
    assert (lost["verdict"], lost["feed"]["verdict"]) == ("FAIL", "FAIL")
    assert (short["verdict"], short["feed"]["verdict"]) == ("NO VERDICT", "NO VERDICT")
    assert (fault["verdict"], fault["feed"]["verdict"]) == ("FAIL", "PASS")
    assert [f["check"] for f in fault["other_faults"]] == ["module_supply_minimum", "module_supply_drop"]  # the worst first
    assert fault["reasons"][0].startswith("other fault found: ")


def test_one_loss_has_one_length_everywhere(printed: list[dict[str, Any]]) -> None:
    lost = printed[1]
    (drop,) = [d for d in lost["dropouts"] if d["kind"] == "counts"]
    losses = [f for f in lost["findings"] if f["check"] == "key_feed_dropout" and f["result"] == "fail"]
    assert len(losses) >= 2  # once for each phase that it crosses
    assert {f["measured"] for f in losses} == {drop["duration_s"]}
    assert {f["reason"] for f in losses} == {lost["reasons"][0].removeprefix("key feed ")}
    assert drop["phases"] == [f["phase"] for f in losses]


def test_the_words_of_the_page_are_the_programs(printed: list[dict[str, Any]]) -> None:
    """Every value of an enum or literal that a reader may meet stands on the page."""
    from typing import get_args

    from firstcrank.model.judgement import DropoutKind, FeedState
    from firstcrank.model.vocabulary import Phase, Result, Scope, Verdict

    text = PAGE.read_text("utf-8").split("\n## judge\n", 1)[1].split("\n## ", 1)[0]
    labels = [*Verdict, *Result, *Scope, *Phase, *get_args(DropoutKind), *get_args(FeedState)]
    assert [word for word in labels if f"`{word}`" not in text] == []
