"""The tests that a mutant must get past: collected once, called directly, without pytest around each."""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import redirect_stdout
from dataclasses import dataclass
from io import StringIO
from typing import Any

import pytest

FILES = (
    "tests/characterization",
    "tests/aim",
    "tests/parts",
    "tests/acceptance",
    "tests/host/test_checks.py",
    "tests/host/test_quick_judge.py",
    "tests/host/test_recorder_live.py",
    "tests/host/test_plausibility.py",
    "tests/host/test_other_fault.py",
    "tests/host/test_compare.py",
    "tests/host/test_json.py",
    "tests/host/test_uneven_samples.py",
    "tests/host/test_close_up_edges.py",
    "tests/host/test_code_spikes.py",
    "tests/published/test_conformance.py",
    "tests/published/test_start_profiles.py",
    "tests/published/test_ripple.py",
    "tests/published/test_uncertainty_oracle.py",
)
READS_SOURCE = ("test_no_advice_ever_says_to_tie_the_feed_to_start",)  # of the judge, which a mutation does not change
NOT_FORKED = ("test_of_six_cranks_each_is_named_on_page_and_paper",)  # its printing library's threads do not survive a fork
LATE = ("tests/properties",)  # for survivors: dear


# which tests to try first for a file of the judge: parts of their names
FIRST = {
    "close_up_edges": ("close_up",),
    "plausibility": ("plausib", "test_11"),
    "causes": ("test_checks", "vehicle", "other_way", "start_profiles"),
    "checks": ("vehicle", "test_checks", "module"),
    "crank_speed": ("speed", "ripple", "test_checks"),
    "evenness": ("even", "ripple", "test_checks"),
    "compressions": ("no lead", "no_lead", "lead_less", "test_01", "ripple"),
    "crank_sag": ("no lead", "no_lead", "heater", "test_01"),
    "cranks": ("test_cranks",),
    "running": ("C1", "charger", "starts_at_once"),
    "key": ("test_key", "test_02", "test_06", "turned_off"),
    "travel": ("travel", "bounce", "test_05"),
    "losses": ("test_feed_losses", "uneven", "test_07"),
    "low_intervals": ("test_feed_losses", "uneven", "test_07", "test_13", "code_spikes"),
    "feed_losses": ("F2", "test_feed_losses", "test_03"),
    "feed_drop": ("test_feed_drops", "test_04"),
    "supply": ("test_supply", "test_14"),
    "uncertainty": ("uncertainty", "clear", "conformance"),
    "decision": ("conformance", "clear", "vague"),
    "leads": ("test_leads", "test_answers", "common"),
    "recording": ("test_recording", "test_09"),
    "crank": ("test_cranks",),
    "compare": ("test_compare",),
    "as_json": ("test_json",),
    "thresholds": ("inside", "outside"),
    "account": ("phases", "told_once"),
    "live": ("recorder_live", "quick_judge"),
}


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


def collect(late: bool, names: tuple[str, ...] = FILES) -> list[Kill]:
    """Every test of the kill set that needs no fixture and is not expected to fail. Traces of the tables are made here, once."""
    from .sites import ROOT

    os.environ["FIRSTCRANK_CORPUS"] = "all"
    grab = _Grab()
    wanted = [ROOT / name for name in (*names, *(LATE if late else ()))]
    gone = [str(path) for path in wanted if not path.exists()]
    if gone:
        raise SystemExit(f"the kill set names what is not there: {', '.join(gone)}")
    files = [str(path) for path in wanted]
    with redirect_stdout(StringIO()) as output:
        pytest.main(["--collect-only", "-q", "-p", "no:cacheprovider", "-n", "0", *files], plugins=[grab])
    if not grab.items:
        raise SystemExit(f"no tests collected:\n{output.getvalue()}")
    kept = []
    for item in grab.items:
        params = item.callspec.params if hasattr(item, "callspec") else {}
        if (
            item.originalname in (*READS_SOURCE, *NOT_FORKED)
            or item.get_closest_marker("xfail")
            or item.get_closest_marker("skipif")
            or set(item.fixturenames) - set(params)
        ):
            continue
        case = params.get("case")
        if case is not None and hasattr(case, "make"):
            trace = case.make()
            object.__setattr__(case, "make", lambda trace=trace: trace)
        kept.append(Kill(item.nodeid, _call(item)))
    return kept
