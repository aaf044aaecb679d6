"""The corpus: strangers' starts of every family, one simulated start of every scenario, and starts with numbers drawn wide.

All synthetic, all made from their name.
"""

from __future__ import annotations

import os
from dataclasses import dataclass

from firstcrank.limits import Limits, shipped
from firstcrank.model.context import Context
from firstcrank.trace import Trace
from firstcrank_sim.board.to_trace import to_trace
from firstcrank_sim.scenarios import catalogue
from tests.characterization import drawn
from tests.strangers.families import NAMES as FAMILIES
from tests.strangers.outcome import read_one

DRAWN = {"drawn_board": drawn.board, "drawn_file": drawn.file}
STRANGERS = {"seed": 7000, "of each": 5}
DRAWN_OF_EACH = 300
SCENARIO_SEED = 4


@dataclass(frozen=True, slots=True)
class Start:
    """What the judge is given."""

    trace: Trace
    limits: Limits
    context: Context


def names() -> list[str]:
    """`family:seed` of strangers, `sim:scenario`, `drawn_board:seed`, `drawn_file:seed`."""
    first, count = STRANGERS["seed"], STRANGERS["of each"]
    strangers = [f"{family}:{first + i}" for family in FAMILIES for i in range(count)]
    scenarios = [f"sim:{name}" for name in sorted(catalogue.SCENARIOS)]
    return strangers + scenarios + [f"{kind}:{first + i}" for kind in DRAWN for i in range(DRAWN_OF_EACH)]


def at_hand() -> list[str]:
    """Those that every run of the tests looks at: every fifteenth. FIRSTCRANK_CORPUS=all: all of them."""
    return names() if os.environ.get("FIRSTCRANK_CORPUS") == "all" else names()[::15]


def made(name: str) -> Start | None:
    """One start by its name; None where the file is refused."""
    family, rest = name.split(":")
    if family in DRAWN:
        trace, context, system_v = DRAWN[family](int(rest))
        return Start(trace, shipped(system_v), context)
    if family == "sim":
        truth = catalogue.simulate(rest, SCENARIO_SEED)
        return Start(to_trace(truth), shipped(truth.system_v), truth.context)
    _, recorded, limits, context, _ = read_one(int(rest), family)
    return None if recorded is None else Start(recorded, limits, context)
