"""docs/glossary.md is kept: none of the words that it says are not used stands in a name, in a text shown, or in the documentation."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDERS = ("host", "firmware", "tests", "hardware_notes", "docs")
BOARD_NAMES = {"words"}
# (start of the path, parts of names): the glossary's table of exceptions says why
EXCEPTIONS = [
    ("firmware/", BOARD_NAMES),
    ("tests/firmware/", BOARD_NAMES),
    ("host/firstcrank/model/vocabulary.py", {"nothing"}),
    ("host/firstcrank/analysis/obligations/recording.py", {"nothing"}),
    ("host/firstcrank/recording.py", {"said"}),
    ("host/firstcrank/cli/doctor.py", {"looked"}),
    ("host/firstcrank_sim/board/solder_faults.py", {"says"}),
]


def rows(heading: str) -> list[list[str]]:
    """The cells of the table under a heading of the glossary, without its two head rows."""
    text = (ROOT / "docs" / "glossary.md").read_text("utf-8")
    section = text.split(f"## {heading}\n", 1)[1].split("\n## ", 1)[0]
    table = [[cell.strip() for cell in line.strip("|").split("|")] for line in section.splitlines() if line.startswith("|")]
    return table[2:]


FORBIDDEN = {word for row in rows("Names that are not used") for word in row[0].split(", ")}
PHRASES = [phrase for row in rows("Texts that are not used") for phrase in row[0].split(", ")]
PROSE = [phrase for row in rows("Prose that is not used") for phrase in row[0].split(", ")]


def parts(name: str) -> set[str]:
    """JobDetail -> {"job", "file", "jobfile"}; told_v -> {"told", "v", "told_v"}: the parts, and the whole in small letters."""
    return {*re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name).lower().split("_"), name.lower()}


def names(tree: ast.AST) -> Iterator[str]:
    """Names that the file itself gives: functions, classes, arguments, variables, attributes, imported aliases."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.id
        elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            yield node.attr
        elif isinstance(node, ast.alias) and node.asname:
            yield node.asname


def shown(tree: ast.AST) -> Iterator[str]:
    """String constants that are no docstrings, and the docstrings of commands, which are their help."""
    docstrings = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef) and ast.get_docstring(node) is not None:
            first = node.body[0]
            command = isinstance(node, ast.FunctionDef) and any("command" in ast.unparse(d) for d in node.decorator_list)
            if isinstance(first, ast.Expr) and not command:
                docstrings.add(id(first.value))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docstrings:
            yield node.value


@cache
def sources() -> dict[str, ast.Module]:
    """Every Python file by its path from the root."""
    paths = [path for folder in FOLDERS for path in sorted((ROOT / folder).rglob("*.py"))]
    return {path.relative_to(ROOT).as_posix(): ast.parse(path.read_text("utf-8")) for path in paths}


def faults_of_names(path: str, tree: ast.AST) -> set[str]:
    """Names of a file with a forbidden part; tests' own names are sentences and free."""
    allowed = set().union(*(exempt for start, exempt in EXCEPTIONS if path.startswith(start)))
    given = {*names(tree), Path(path).stem}
    return {name for name in given if not name.startswith("test_") and parts(name) & (FORBIDDEN - allowed)}


def faults_of_text(text: str, phrases: list[str] = PHRASES) -> list[str]:
    """Forbidden phrases in a text."""
    return [phrase for phrase in phrases if re.search(rf"\b{re.escape(phrase)}\b", text)]


def test_no_name_uses_a_word_that_the_glossary_keeps_out() -> None:
    found = {path: sorted(faults) for path, tree in sources().items() if (faults := faults_of_names(path, tree))}
    assert found == {}


def test_no_text_shown_uses_a_phrase_that_the_glossary_keeps_out() -> None:
    host = {path: tree for path, tree in sources().items() if path.startswith(("host/", "firmware/"))}
    found = {path: faults for path, tree in host.items() for text in shown(tree) if (faults := faults_of_text(text))}
    assert found == {}


def pages() -> list[Path]:
    """What is written for readers, with what pages are made from; not the glossary, which has the words themselves."""
    found = [*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md"), *(ROOT / "hardware_notes").rglob("*.md*")]
    return sorted(page for page in found if page.name != "glossary.md" and page.suffix in (".md", ".j2"))


def test_the_documentation_keeps_to_the_glossary() -> None:
    assert len(pages()) > 40
    assert {page.name: faults for page in pages() if (faults := faults_of_text(page.read_text("utf-8"), PHRASES + PROSE))} == {}


def test_comments_and_docstrings_keep_to_the_glossary() -> None:
    paths = [path for path in sources() if path != "tests/host/test_glossary.py"]
    assert len(paths) > 700
    assert {path: faults for path in paths if (faults := faults_of_text((ROOT / path).read_text("utf-8"), PROSE))} == {}


@pytest.mark.parametrize("comment", ["# between two looks", "# as it was told before", '"""A recorder\'s Watcher."""'])
def test_the_check_bites_on_comments(comment: str) -> None:
    assert faults_of_text(comment, PROSE)


@pytest.mark.parametrize(
    "source",
    ["def told(): pass", "def f(said_v): pass", "class Wishes: pass", "self._words = 1", "JobFile = 2", "import x as tally"],
)
def test_the_check_bites_on_names(source: str) -> None:
    assert faults_of_names("host/firstcrank/x.py", ast.parse(source))


def test_the_check_bites_on_texts_and_leaves_docstrings() -> None:
    code = (
        '@click.command()\ndef f():\n    """Held in RUN."""\ndef g():\n    """Taken as given."""\n    return f"{x} had said"\n'
    )
    assert [faults_of_text(text) for text in shown(ast.parse(code))] == [["in RUN"], ["had said"]]


def test_every_exception_is_in_use_and_in_the_glossary() -> None:
    listed = {word for row in rows("Exceptions") for word in re.findall(r"\w+", row[1])}
    for start, exempt in EXCEPTIONS:
        given = set().union(
            *(parts(name) for path, tree in sources().items() if path.startswith(start) for name in names(tree))
        )
        assert given & exempt, start
        assert all(any(word in entry.split("_") for entry in listed) for word in exempt), start
