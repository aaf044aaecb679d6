"""A logger's trace as the rules of plausibility see it, and what they find."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firstcrank.noise import resolution_v
from firstcrank.role_properties import GROUND_ROLES
from firstcrank.thresholds.evidence import EVIDENCE
from firstcrank.trace import BoolArray, Channel, FloatArray, IntArray, Trace

Kind = Literal["clipped", "held", "frozen", "filled", "noise-free", "copied", "time", "coarse"]
AT_REST = ("battery", "key_switch")  # live while nothing turns


@dataclass(frozen=True, slots=True)
class Implausible:
    """What cannot be: on which lead, from when to when in the trace's seconds, and one plain line for the user."""

    role: str
    start_s: float
    end_s: float
    kind: Kind
    line: str


class Examined:
    """The trace with what several rules need."""

    def __init__(self, trace: Trace) -> None:
        self.trace = trace
        self.t_s = trace.start_s
        self.step_s = float(np.median(np.diff(trace.start_s)))
        self.battery_v = trace.channels["battery"].mean_v
        self.scale = 2.0 if float(np.median(self.battery_v)) > EVIDENCE.system_split_v else 1.0
        self.steps_v = {role: resolution_v(channel.mean_v) for role, channel in trace.channels.items()}

    def found(self, role: str, first: int, past: int, kind: Kind, line: str) -> Implausible:
        """An Implausible over the rows from `first` up to `past`."""
        return Implausible(role, float(self.t_s[first]), float(self.trace.end_s[past - 1]), kind, line)

    def leads(self) -> Iterator[tuple[str, Channel]]:
        """Every lead but the grounds, which rest at zero and may read a constant."""
        for role, channel in self.trace.channels.items():
            if role not in GROUND_ROLES:
                yield role, channel

    def rows(self, seconds: float, least: int) -> int:
        """Rows that cover `seconds`, at least `least`."""
        return max(int(np.ceil(seconds / self.step_s)), least)


Rule = Callable[[Examined], Iterator[Implausible]]


def runs_of(flags: BoolArray) -> IntArray:
    """Runs of True in a flat array: shape (m, 2), first row and the row past the last."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return edges.reshape(-1, 2)


def still(volts: FloatArray) -> IntArray:
    """Runs of rows with one and the same reading, shape (m, 2)."""
    runs = runs_of(np.diff(volts) == 0.0)
    runs[:, 1] += 1  # k equal differences are k + 1 equal readings
    return runs
