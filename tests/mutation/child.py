"""One mutant in a process of its own: the mutated module takes the original's place everywhere, then the tests run until one fails."""

from __future__ import annotations

import ast
import importlib
import importlib.abc
import importlib.util
import json
import os
import resource
import signal
import sys
import time
import warnings
from collections.abc import Sequence
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

from .kill_set import Kill
from .reach import PROBE, Watch, instrumented
from .sites import PACKAGE, Site, module_of, mutated

PREFIX = "firstcrank.analysis"


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Finds changed modules by name and runs the changed code for them."""

    def __init__(self, trees: dict[str, ast.Module], more: dict[str, Any]) -> None:
        self.more = more
        self.codes: dict[str, tuple[CodeType, str]] = {}
        for file, tree in trees.items():
            origin = str(PACKAGE / file)
            self.codes[module_of(file)] = compile(tree, origin, "exec"), origin

    def find_spec(self, fullname: str, path: Any = None, target: Any = None) -> Any:
        """The changed module's spec, nothing for others."""
        if fullname not in self.codes:
            return None
        origin = Path(self.codes[fullname][1])
        inside = [str(origin.parent)] if origin.name == "__init__.py" else None
        return importlib.util.spec_from_file_location(fullname, origin, loader=self, submodule_search_locations=inside)

    def create_module(self, spec: Any) -> None:
        """As usual."""

    def exec_module(self, module: ModuleType) -> None:
        """Runs the changed code."""
        module.__dict__.update(self.more)
        exec(self.codes[module.__name__][0], module.__dict__)


def replace_analysis(trees: dict[str, ast.Module], more: dict[str, Any] | None = None) -> None:
    """Imports the judge anew with the changed files, and puts its parts wherever the old ones were imported. `more` are names
    that the changed modules find."""
    old = {name: module for name, module in sys.modules.items() if name == PREFIX or name.startswith(PREFIX + ".")}
    if trees:
        sys.meta_path.insert(0, _Changed(trees, more or {}))
    for name in old:
        del sys.modules[name]
    where = {
        id(value): (name, attr)
        for name, module in old.items()
        for attr, value in vars(module).items()
        if not attr.startswith("@")  # pytest's own, in a module whose name looks like a test's
        and (getattr(value, "__module__", None) == name or isinstance(value, ModuleType))
    }
    for name in sorted(old):
        importlib.import_module(name)
    for name, module in list(sys.modules.items()):
        if name.startswith(PREFIX) or not name.startswith(("tests.", "firstcrank")):
            continue
        for attr, value in list(vars(module).items()):
            if id(value) in where and not attr.startswith("__"):
                home, known_as = where[id(value)]
                setattr(module, attr, getattr(sys.modules[home], known_as))
            elif isinstance(value, ModuleType) and value.__name__ in old:
                setattr(module, attr, sys.modules[value.__name__])


def _quiet(cpu_s: int) -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s + 5))
    signal.signal(signal.SIGXCPU, signal.SIG_DFL)
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    warnings.simplefilter("ignore")


def watch(sites: Sequence[Site], kills: Sequence[Kill], out: int) -> None:
    """In a forked child: writes one line of JSON, for every site the numbers of the tests that could notice it (None: all)."""
    _quiet(3600)
    by_file: dict[str, list[tuple[int, Site]]] = {}
    for number, site in enumerate(sites):
        by_file.setdefault(site.file, []).append((number, site))
    trees, blind, watching = {}, set(), Watch()
    for file, numbered in by_file.items():
        trees[file], more = instrumented(numbered)
        blind |= more
    replace_analysis(trees, {PROBE: watching})
    noticed: list[list[int]] = [[] for _ in sites]
    failed = []
    for count, kill in enumerate(kills):
        watching.met.clear()
        try:
            kill.call()
        except BaseException as error:
            failed.append(f"{kill.name}: {error!r:.200}")
            watching.met.update(range(len(sites)))  # can't be told
        for number in watching.met:
            noticed[number].append(count)
    found = [None if number in blind else tests for number, tests in enumerate(noticed)]
    with os.fdopen(out, "wb") as pipe:
        pipe.write(json.dumps({"noticed": found, "failed": failed}).encode())
    os._exit(0)


def run(site: Site | None, kills: Sequence[Kill], cpu_s: int, budget_s: float, out: int) -> None:
    """In the forked child: writes one line of JSON with the outcome and ends the process."""
    _quiet(cpu_s)
    outcome: dict[str, Any] = {"outcome": "survived", "by": "", "why": ""}
    times: dict[str, float] = {}
    failed: list[str] = []
    try:
        replace_analysis({} if site is None else {site.file: mutated(site)})
    except BaseException as error:
        outcome = {"outcome": "killed", "by": "import", "why": type(error).__name__}
        kills = ()
    for kill in kills:
        if site is not None and budget_s and time.process_time() > budget_s:
            outcome["outcome"] = "unfinished"
            break
        began = time.process_time()
        try:
            kill.call()
        except BaseException as error:
            if site is not None:
                outcome = {"outcome": "killed", "by": kill.name, "why": type(error).__name__}
                break
            failed.append(kill.name)
        times[kill.name] = round(time.process_time() - began, 4)
    outcome["cpu_s"] = round(time.process_time(), 2)
    if site is None:
        outcome |= {"times": times, "failed": failed}
    os.write(out, json.dumps(outcome).encode() + b"\n")
    os._exit(0)
