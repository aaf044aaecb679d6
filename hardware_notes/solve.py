"""A small solver for the builds' parts: direct current and steps in time, diodes included, whatever is wired to whatever.

Nodal analysis with Newton's method (textbook). It knows nothing of the designer's formulas: a planted fault is a changed list of parts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from hardware_notes.circuit import Part

DIODE_IS_A, DIODE_N = 2.52e-9, 1.752  # an ordinary 1N4148 (public model card); BAV199 differs by tens of millivolts only
THERMAL_V = 0.02569
LEAST_SIEMENS = 1e-12  # from every net to ground: a net that hangs in the air is still a number
DRIVER_OHM = 30.0  # of an RP2040 pin driven at 4 mA strength (our assumption)
PIN_F = 5e-12  # of a released pin (our assumption)


@dataclass(frozen=True, slots=True)
class Board:
    """Parts, held nets (volts) and links (ohms between two nets)."""

    parts: tuple[Part, ...]
    held: Mapping[str, float] = field(default_factory=dict)
    links: tuple[tuple[str, str, float], ...] = ()
    currents: tuple[tuple[str, str, float], ...] = ()  # from net, to net, amperes


def diodes(parts: Iterable[Part]) -> list[tuple[str, str]]:
    """(anode net, cathode net) of every diode."""
    found = []
    for p in parts:
        if p.kind == "D":
            found.append((p.net("2"), p.net("1")))
        elif p.kind == "D2":
            found += [(p.net("1"), p.net("3")), (p.net("3"), p.net("2"))]
    return found


def _resistors(board: Board) -> list[tuple[str, str, float]]:
    made = [(p.net("1"), p.net("2"), p.ohm) for p in board.parts if p.kind == "R"]
    made += [(p.net("1"), p.net("2"), 0.05) for p in board.parts if p.kind == "F"]
    return made + list(board.links)


def solve(board: Board, before: Mapping[str, float] | None = None, step_s: float = 0.0) -> dict[str, float]:
    """Volts of every net. With `before` and `step_s`: after one implicit step in time from there (capacitors hold)."""
    named = {n for a, b, _ in (*board.links, *board.currents) for n in (a, b)} | set(board.held)
    nets = sorted({net for p in board.parts for _, net in p.pins} | named)
    index = {net: i for i, net in enumerate(nets)}
    count = len(nets)
    base = np.eye(count) * LEAST_SIEMENS
    driven = np.zeros(count)

    def between(one: str, other: str, siemens: float) -> None:
        i, j = index[one], index[other]
        base[i, i] += siemens
        base[j, j] += siemens
        base[i, j] -= siemens
        base[j, i] -= siemens

    for one, other, ohm in _resistors(board):
        between(one, other, 1.0 / ohm)
    if before is not None:
        stores = [(p.net("1"), p.net("2"), p.farad) for p in board.parts if p.kind == "C"]
        stores += [(net, "GND", PIN_F) for net in nets if net.startswith("PIN") and "GND" in index]
        for one, other, farad in stores:
            between(one, other, farad / step_s)
            held_v = (before[one] - before[other]) * farad / step_s
            driven[index[one]] += held_v
            driven[index[other]] -= held_v
    for one, other, amperes in board.currents:
        driven[index[one]] -= amperes
        driven[index[other]] += amperes
    volts = np.array([before.get(net, 0.0) if before else 0.0 for net in nets])
    fixed = {index[net]: value for net, value in board.held.items()}
    for i, value in fixed.items():
        volts[i] = value
    pairs = [(index[a], index[c]) for a, c in diodes(board.parts)]
    scale = DIODE_N * THERMAL_V
    for _ in range(200):
        matrix, right = base.copy(), driven.copy()
        for a, c in pairs:
            v = min(volts[a] - volts[c], 1.2)
            grown = np.exp(v / scale)
            siemens, amperes = DIODE_IS_A * grown / scale, DIODE_IS_A * (grown - 1.0)
            rest = amperes - siemens * v
            matrix[a, a] += siemens
            matrix[c, c] += siemens
            matrix[a, c] -= siemens
            matrix[c, a] -= siemens
            right[a] -= rest
            right[c] += rest
        for i, value in fixed.items():
            matrix[i, :] = 0.0
            matrix[i, i] = 1.0
            right[i] = value
        new = np.linalg.solve(matrix, right)
        moved = new - volts
        volts = volts + np.clip(moved, -0.3, 0.3) if pairs else new
        if np.max(np.abs(moved)) < 1e-6:
            break
    return dict(zip(nets, map(float, volts), strict=True))


def ohms(board: Board, one: str, other: str) -> float:
    """What an ohmmeter reads: 1 uA through, so that no diode conducts; above 10 M counts as open, infinity."""
    found = solve(Board(board.parts, {**board.held, other: 0.0}, board.links, ((other, one, 1e-6),)))
    ohm = (found[one] - found[other]) / 1e-6
    return float("inf") if abs(ohm) > 10e6 or (abs(found[one]) > 0.25 and ohm > 250e3) else ohm


def diode_test_v(board: Board, red: str, black: str) -> float:
    """What a meter's diode range reads: 1 mA from red to black; above 2 V open, infinity."""
    found = solve(Board(board.parts, {**board.held, black: 0.0}, board.links, ((black, red, 1e-3),)))
    volts = found[red] - found[black]
    return float("inf") if volts > 2.0 else volts


def driven(board: Board, pin: str, drive_v: float) -> Board:
    """The board with one pin driven through the driver's own resistance."""
    return Board(board.parts, {**board.held, "DRIVER": drive_v}, (*board.links, ("DRIVER", pin, DRIVER_OHM)), board.currents)


def released(board: Board, pin: str, drive_v: float, after_s: tuple[float, ...]) -> tuple[float, ...]:
    """Volts of a pin that was driven until all was steady and then let go, at the times named (extrapolated from two step widths)."""
    start = solve(driven(board, pin, drive_v))

    def stepped(per_fold: float) -> list[float]:
        volts, now_s, out = start, 0.0, []
        for wanted_s in after_s:
            while now_s < wanted_s - 1e-12:
                step_s = min(max(now_s, 1e-6) / per_fold, wanted_s - now_s)
                volts = solve(board, volts, step_s)
                now_s += step_s
            out.append(volts[pin])
        return out

    return tuple(max(2.0 * fine - coarse, 0.0) for coarse, fine in zip(stepped(8.0), stepped(16.0), strict=True))
