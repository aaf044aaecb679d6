"""Every public module, class and function of the host says what it is; so a reader never has to guess."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "host" / "firstcrank"
MODULES = sorted(p for p in PACKAGE.rglob("*.py") if p.name != "__init__.py" and "migrations" not in p.parts)


def undocumented(path: Path) -> list[str]:
    tree = ast.parse(path.read_text("utf-8"))
    missing = [] if ast.get_docstring(tree) else ["the module itself"]
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_") and not ast.get_docstring(node):
            missing.append(node.name)
    return missing


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_public_names_have_docstrings(path: Path) -> None:
    assert undocumented(path) == []
