"""What `board check` sees at the pins of a board, good or not, by driving each pin and letting it go; and what its numbers mean."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from hardware_notes.circuit import Part, circuit
from hardware_notes.solve import Board, driven, released, solve

Parts = tuple[Part, ...]
LEADS = (1, 2, 3)
LETTING_GO_S = (4e-6, 60e-6)  # when a pin that was driven and let go is read
RAIL_V = 3.3
ENABLE_LOW_V = 0.7  # 3V3_EN below this switches the regulator off (our assumption; a Pico pulls it up with 100 k)
QUIET_V = 0.2  # a pin above this with its clip on ground is no rest
PAIRS = {1: "31 and 32", 2: "31 and 32", 3: "34 and the next"}
PIN_REL = (0.05, 0.15)  # good boards: 1 % resistors, 5 % capacitor, pin driver, 15 codes
PIN_NUMBERS = dict(zip(LEADS, ("31", "32", "34"), strict=True))


def at(parts: Parts, pin: str) -> str:
    """The net that "U1.36" is soldered to; a free net of its own where it is not wired."""
    ref, _, number = pin.partition(".")
    part = next(p for p in parts if p.ref == ref)
    return dict(part.pins).get(number, f"AIR_{ref}_{number}")


def powered(parts: Parts, clips_v: dict[int, float] | None = None, on_ground_clip: bool = False) -> Board:
    """The module in its socket and on USB; clips held at volts above the ground clip, or all on it, the vehicle not there."""
    held = {"GND": 0.0}
    links = [(at(parts, "U1.33"), "GND", 0.01)]
    if on_ground_clip:
        links += [(f"CLIP{i}", "CLIP0", 0.01) for i in LEADS]
    elif clips_v is not None:
        held |= {"CLIP0": 0.0, **{f"CLIP{i}": v for i, v in clips_v.items()}}
    running = not enable_is_low(parts)
    held[at(parts, "U1.36")] = RAIL_V if running else 0.0
    if at(parts, "U1.37") in held:
        held[at(parts, "U1.37")] = held[at(parts, "U1.36")]
    return Board(parts, held, tuple(links))


def enable_is_low(parts: Parts) -> bool:
    """3V3_EN wired to something that pulls it down: the regulator never starts."""
    net = at(parts, "U1.37")
    if net.startswith("AIR"):
        return False
    held = {"GND": 0.0, "CLIP0": 0.0, "VSYS": 5.0}
    found = solve(Board(parts, held, ((at(parts, "U1.33"), "GND", 0.01), ("VSYS", net, 100e3))))
    return found[net] < ENABLE_LOW_V


@dataclass(frozen=True, slots=True)
class PinSeen:
    """What `board check` can see at a pin with every clip on the ground clip, volts: at rest, while driven high, let go after 4 and
    60 us, and how far the most affected other pin rises meanwhile."""

    rest_v: float
    driven_v: float
    after_4us_v: float
    after_60us_v: float
    others_v: float


@cache
def check_pins(parts: Parts) -> dict[int, PinSeen]:
    """Each lead's pin, driven and let go in turn."""
    board = powered(parts, on_ground_clip=True)
    nets = {i: at(parts, f"U1.{number}") for i, number in PIN_NUMBERS.items()}
    rest = solve(board)
    seen = {}
    for i, net in nets.items():
        first, second = released(board, net, RAIL_V, LETTING_GO_S)
        high = solve(driven(board, net, RAIL_V))
        others = max(high[other] for j, other in nets.items() if j != i)
        seen[i] = PinSeen(rest[net], high[net], first, second, others)
    return seen


def good_pin(build: str) -> PinSeen:
    """A good board's pin."""
    return check_pins(circuit(build))[1]


def explain(i: int, seen: PinSeen, right: PinSeen) -> str:
    """What a pin's numbers mean, in one line naming the part; "" where they are good."""
    r, d, c, pin = f"R{i}7", f"D{i}1", f"C{i}1", PIN_NUMBERS[i]
    together = seen.others_v > 0.9 * right.driven_v and seen.after_60us_v > 0.9 * right.driven_v
    if together:
        return "all pins rise together: the ground wire to pin 33 is open"
    if seen.rest_v > QUIET_V:
        return f"{d} reversed, or clip {i} is not on the ground clip: {seen.rest_v:.2f} V at rest"
    if seen.driven_v < 0.5 * right.driven_v:
        return f"pin {pin} is shorted to ground: a bridge to pin 33"
    if seen.others_v > QUIET_V:
        return f"another pin follows pin {pin}: a bridge between pins {PAIRS[i]} or leads {1 if i < 3 else 2} and {2 if i < 3 else 3}"
    first, second = seen.after_4us_v, seen.after_60us_v
    if abs(first / right.after_4us_v - 1) <= PIN_REL[0] and abs(second / right.after_60us_v - 1) <= PIN_REL[1]:
        return ""
    if second > 0.9 * right.driven_v:
        return f"{r} open: pin {pin} stays where it was driven"
    if first < 0.02:
        return f"{c} not fitted, or a bridge over {c}"
    if second < 0.005:
        return f"{c} or R{i}6 is smaller than it should be"
    span_s = LETTING_GO_S[1] - LETTING_GO_S[0]
    fall, right_fall = math.log(first / max(second, 1e-6)) / span_s, math.log(right.after_4us_v / right.after_60us_v) / span_s
    slower = right_fall / fall
    if 0.35 < first < 0.75 and abs(slower - 1) <= 0.12:
        return f"the lower diode reversed ({d}, or D{i}2 where there are two), or {r} much larger than it should be"
    began = first * math.exp(fall * LETTING_GO_S[0]) / (right.after_4us_v * math.exp(right_fall * LETTING_GO_S[0]))
    if abs(began - 1) <= 0.03:
        return f"{c} is {'larger' if slower > 1 else 'smaller'} than it should be: about {slower:.2g} times"
    if abs(slower - 1) <= 0.06:
        return f"{r} is {'smaller' if began > 1 else 'larger'} than it should be"
    return f"R{i}6, R{i}5 or the boot of lead {i}: {'larger' if slower > 1 else 'smaller'} than it should be"
