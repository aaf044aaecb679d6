"""The house in numbers: `python -m tests.house` prints import circles, longest files, explicit Any; 1 where one is over its limit."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = ("firstcrank", "firstcrank_sim")
MOST_LINES = 400


def imports() -> dict[str, set[str]]:
    """Module -> modules that it imports at run time, of both packages."""
    import grimp

    graph = grimp.build_graph(*PACKAGES, exclude_type_checking_imports=True)
    return {module: set(graph.find_modules_directly_imported_by(module)) for module in graph.modules}


def circles(graph: Mapping[str, set[str]]) -> list[list[str]]:
    """Groups of modules that reach each other: Tarjan 1972, without recursion."""
    number: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    found: list[list[str]] = []
    for root in graph:
        work: list[tuple[str, Iterator[str]]] = [] if root in number else [(root, iter(sorted(graph[root])))]
        while work:
            node, rest = work[-1]
            if node not in number:
                number[node] = low[node] = len(number)
                stack.append(node)
            following = next(rest, None)
            if following is None:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[node])
                if low[node] == number[node]:
                    group = stack[stack.index(node) :]
                    del stack[stack.index(node) :]
                    if len(group) > 1 or node in graph[node]:
                        found.append(group)
            elif following not in number:
                work.append((following, iter(sorted(graph.get(following, set())))))
            elif following in stack:
                low[node] = min(low[node], number[following])
    return found


def files_of_packages() -> list[Path]:
    """Every Python file of both packages."""
    return [path for package in PACKAGES for path in sorted((ROOT / "host" / package).rglob("*.py"))]


def long_files() -> list[tuple[int, str]]:
    """(lines, path) of every file of the packages that is longer than it may be."""
    rows = [(len(path.read_text("utf-8").splitlines()), str(path.relative_to(ROOT))) for path in files_of_packages()]
    return sorted(row for row in rows if row[0] > MOST_LINES)


def explicit_any() -> int:
    """How often the packages say Any, by mypy. Raises RuntimeError where mypy did not come to an end."""
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--disallow-any-explicit"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if not done.stdout.strip().splitlines()[-1:] or not re.match("Success: |Found ", done.stdout.strip().splitlines()[-1]):
        raise RuntimeError(f"mypy did not run: {done.stdout[-500:]}{done.stderr[-500:]}")
    return done.stdout.count("[explicit-any]")


def written_any(files: Iterable[Path]) -> list[str]:
    """Where the name Any of typing is used, as "path:line"; its import is not counted. Quick, by the syntax tree."""
    return [
        f"{path}:{node.lineno}"
        for path in files
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if (isinstance(node, ast.Name) and node.id == "Any")
        or (isinstance(node, ast.Attribute) and node.attr == "Any")
        or (isinstance(node, ast.Constant) and isinstance(node.value, str) and re.search(r"\[Any\b|\bAny\]", node.value))
    ]


def main() -> int:
    """Prints the numbers."""
    graph = imports()
    rings, files, count = circles(graph), long_files(), explicit_any()
    print(f"{len(graph)} modules, {sum(map(len, graph.values()))} imports, {len(rings)} circles {rings or ''}")
    print(f"files over {MOST_LINES} lines: {len(files)} {files or ''}")
    print(f"explicit Any: {count}")
    return int(bool(rings) or bool(count))


if __name__ == "__main__":
    sys.exit(main())
