"""The tests that a mutant must get past: collected once, called directly, without pytest around each."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import redirect_stdout
from dataclasses import dataclass
from io import StringIO
from typing import Any

import pytest

FILES = (
    "tests/aim",
    "tests/acceptance",
    "tests/host/test_checks.py",
    "tests/host/test_quick_judge.py",
    "tests/host/test_uneven_looks.py",
    "tests/host/test_close_up_edges.py",
    "tests/host/test_code_spikes.py",
    "tests/published/test_conformance.py",
    "tests/published/test_start_profiles.py",
    "tests/published/test_ripple.py",
    "tests/published/test_uncertainty_oracle.py",
)
LATE = ("tests/properties",)  # for survivors: dear


@dataclass(frozen=True, slots=True)
class Kill:
    """One test: its id and a call without arguments."""

    name: str
    call: Callable[[], Any]

    @property
    def file(self) -> str:
        """Path of its file."""
        return self.name.split("::")[0]


class _Grab:
    """Keeps what pytest collects."""

    def __init__(self) -> None:
        self.items: list[Any] = []

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        """Called by pytest."""
        self.items = list(session.items)


def _call(item: Any) -> Callable[[], Any]:
    params = item.callspec.params if hasattr(item, "callspec") else {}
    return lambda: item.obj(**params)


def collect(late: bool) -> list[Kill]:
    """Every test of the kill set that needs no fixture and is not expected to fail. Traces of the tables are made here, once."""
    from .sites import ROOT

    grab = _Grab()
    files = [str(ROOT / name) for name in (*FILES, *(LATE if late else ())) if (ROOT / name).exists()]
    with redirect_stdout(StringIO()) as said:
        pytest.main(["--collect-only", "-q", "-p", "no:cacheprovider", "-n", "0", *files], plugins=[grab])
    if not grab.items:
        raise SystemExit(f"no tests collected:\n{said.getvalue()}")
    kept = []
    for item in grab.items:
        params = item.callspec.params if hasattr(item, "callspec") else {}
        if item.get_closest_marker("xfail") or item.get_closest_marker("skipif") or set(item.fixturenames) - set(params):
            continue
        case = params.get("case")
        if case is not None:
            trace = case.make()
            object.__setattr__(case, "make", lambda trace=trace: trace)
        kept.append(Kill(item.nodeid, _call(item)))
    return kept
