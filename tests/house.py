"""The house in numbers: `python -m tests.house` prints import circles, longest files, explicit Any; 1 where one is over its limit."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = ("firstcrank", "firstcrank_sim")
MOST_LINES = 400
MOST_ANY = 78  # as many as there are today: fewer from here on


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


def long_files() -> list[tuple[int, str]]:
    """(lines, path) of every file of the packages that is longer than it may be."""
    rows = [
        (len(path.read_text("utf-8").splitlines()), str(path.relative_to(ROOT)))
        for package in PACKAGES
        for path in (ROOT / "host" / package).rglob("*.py")
    ]
    return sorted(row for row in rows if row[0] > MOST_LINES)


def explicit_any() -> int:
    """How often the packages say Any, by mypy."""
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--disallow-any-explicit"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    return done.stdout.count("[explicit-any]")


def main() -> int:
    """Prints the numbers."""
    graph = imports()
    rings, files, count = circles(graph), long_files(), explicit_any()
    print(f"{len(graph)} modules, {sum(map(len, graph.values()))} imports, {len(rings)} circles {rings or ''}")
    print(f"files over {MOST_LINES} lines: {len(files)} {files or ''}")
    print(f"explicit Any: {count} (at most {MOST_ANY})")
    return int(bool(rings) or count > MOST_ANY)


if __name__ == "__main__":
    sys.exit(main())
