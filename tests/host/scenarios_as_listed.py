"""`python -m tests.host.scenarios_as_listed [record|start] [NAME ...]`: the real program at 80x24 against every scenario, as a table.

For each: what `firstcrank scenarios` lists, the exit code that the program left with, and whether verdict, reason and next check stand
on the last screenful. `record` brings the scenario's own leads and answers; `start --yes` ends after the first burst, so what shows
only later (charging, the key going off) is not in it: there the key feed's verdict is what must agree.
"""

from __future__ import annotations

import os
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from firstcrank.analysis.verdict import judge
from firstcrank.limits import shipped
from firstcrank.tracefiles.native import read_native
from firstcrank_sim.scenarios.catalogue import SCENARIOS

from .terminal import finished, last_screenful, run_at

CODE = {"PASS": 0, "FAIL": 1, "NO VERDICT": 3}


@dataclass(frozen=True, slots=True)
class Row:
    """One scenario: listed and found, and what was missing on the last screenful."""

    name: str
    listed: str
    found: str
    lacking: tuple[str, ...]

    @property
    def good(self) -> bool:
        """As listed, all on the screen."""
        return self.listed == self.found and not self.lacking


def watched_for(name: str) -> str:
    """What `record` must go on for after the start, for what the scenario plants to be seen."""
    cause = SCENARIOS[name].cause or ""
    return "charge" if "charge" in cause else "off" if "backfeed" in cause else "start"


def run(command: str, name: str) -> Row:
    """One scenario by the real program."""
    scenario = SCENARIOS[name]
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        watch = ("--watch", watched_for(name)) if command == "record" else ()
        program = run_at(folder, command, "--port", f"sim:{name}", "--out", "s.fcr", "--yes", *watch, timeout_s=300.0)
        code, shown = finished(program)
        screen = " ".join(" ".join(last_screenful(shown, 23)).split())
        verdict = {0: "PASS", 1: "FAIL", 3: "NO VERDICT"}.get(code, f"exit {code}")
        listed = scenario.overall
        if command == "start":
            recording = read_native(folder / "s.fcr")
            feed = judge(recording.trace, recording.limits or shipped(12), recording.context).feed.verdict
            verdict, listed = f"{verdict}, feed {feed}", f"{verdict}, feed {scenario.expected}"
    wanted = {"SIMULATED": True, "Why: ": True, "Check next: ": code != 0}
    lacking = tuple(terms.strip() for terms, due in wanted.items() if due and terms not in screen)
    return Row(name, listed, verdict, (*lacking, *(("a traceback",) if "Traceback" in shown else ())))


def main() -> None:
    """Prints the table; exit code 1 where one is not as listed."""
    command = sys.argv[1] if len(sys.argv) > 1 else "record"
    names = sys.argv[2:] or list(SCENARIOS)
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        rows = list(pool.map(lambda name: run(command, name), names))
    print(f"| {command} sim:NAME | listed | found | not on the last screenful |\n|---|---|---|---|")
    for row in rows:
        print(f"| {row.name} | {row.listed} | {row.found} | {', '.join(row.lacking)} |")
    bad = [row.name for row in rows if not row.good]
    print(f"\n{len(rows) - len(bad)} of {len(rows)} as listed" + (f"; not: {', '.join(bad)}" if bad else ""))
    sys.exit(bool(bad))


if __name__ == "__main__":
    main()
