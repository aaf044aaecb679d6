"""One mutant in a process of its own: the mutated module takes the original's place everywhere, then the tests run until one fails."""

from __future__ import annotations

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
from .sites import Site, mutated

PREFIX = "firstcrank.analysis"


class _Mutant(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Finds one module by name and runs the mutated code for it."""

    def __init__(self, module: str, code: CodeType, origin: str, is_package: bool) -> None:
        self.module, self.code, self.origin, self.is_package = module, code, origin, is_package

    def find_spec(self, fullname: str, path: Any = None, target: Any = None) -> Any:
        """The mutant's spec, nothing for others."""
        if fullname != self.module:
            return None
        spec = importlib.util.spec_from_loader(fullname, self, origin=self.origin, is_package=self.is_package)
        if spec is not None and self.is_package:
            spec.submodule_search_locations = [str(Path(self.origin).parent)]
        return spec

    def create_module(self, spec: Any) -> None:
        """As usual."""

    def exec_module(self, module: ModuleType) -> None:
        """Runs the mutated code."""
        exec(self.code, module.__dict__)


def replace_analysis(site: Site) -> None:
    """Imports the judge anew with the mutated module, and puts its parts wherever the old ones were imported by name."""
    from .sites import PACKAGE

    old = {name: module for name, module in sys.modules.items() if name == PREFIX or name.startswith(PREFIX + ".")}
    origin = str(PACKAGE / site.file)
    code = compile(mutated(site), origin, "exec")
    for name in old:
        del sys.modules[name]
    sys.meta_path.insert(0, _Mutant(site.module, code, origin, site.file.endswith("__init__.py")))
    where = {
        id(value): (name, attr)
        for name, module in old.items()
        for attr, value in vars(module).items()
        if getattr(value, "__module__", None) == name or isinstance(value, ModuleType)
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


def run(site: Site | None, kills: Sequence[Kill], cpu_s: int, budget_s: float, out: int) -> None:
    """In the forked child: writes one line of JSON with the outcome and ends the process."""
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s + 5))
    signal.signal(signal.SIGXCPU, signal.SIG_DFL)
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    warnings.simplefilter("ignore")
    outcome: dict[str, Any] = {"outcome": "survived", "by": "", "why": ""}
    times: dict[str, float] = {}
    failed: list[str] = []
    try:
        if site is not None:
            replace_analysis(site)
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
