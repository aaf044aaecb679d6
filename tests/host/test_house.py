"""The imports of both packages make no circle, nothing is typed Any, no import is hidden; and the finders find what they look for."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from tests.house import ROOT, circles, files_of_packages, imports, written_any

# A module by its name, known when the program runs: commands in lazy_group, the board's own files in the simulator.
BY_NAME = {"cli/lazy_group.py", "board/firmware_program.py"}


def test_no_circle_of_imports() -> None:
    graph = imports()
    assert len(graph) > 200
    assert circles(graph) == []


def test_a_circle_is_found() -> None:
    assert [sorted(ring) for ring in circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}})] == [["a", "b", "c"]]
    assert circles({"a": {"a"}}) == [["a"]]
    assert circles({"a": {"b"}, "b": {"c"}, "c": set()}) == []


def test_nothing_is_typed_any() -> None:
    files = files_of_packages()
    assert len(files) > 200
    assert written_any(files) == []
    assert tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["mypy"]["disallow_any_explicit"] is True


def test_an_any_is_found(tmp_path: Path) -> None:
    path = tmp_path / "x.py"
    path.write_text(
        'import typing\nfrom typing import Any\na: Any = 1\nb: dict[str, typing.Any] = {}\nc: "list[Any]" = []\n"""Any."""\n',
        "utf-8",
    )
    assert sorted(line.rpartition(":")[2] for line in written_any([path])) == ["3", "4", "5"]


def test_no_import_hides_from_the_contract() -> None:
    hidden = re.compile(r"import_module\(|__import__\(")
    found = {path for path in files_of_packages() if hidden.search(path.read_text("utf-8"))}
    assert {"/".join(path.parts[-2:]) for path in found} == BY_NAME
    contract = (ROOT / ".importlinter").read_text("utf-8")
    assert "ignore_imports" not in contract
