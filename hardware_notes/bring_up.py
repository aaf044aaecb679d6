"""Bring-up of the minimal build as steps with limits and a stop rule; a board, good or not, can be walked through them on paper.

Every limit is computed from the builds. `python -m hardware_notes.bring_up` prints the table and what each planted fault does.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import cache

from hardware_notes import builds
from hardware_notes.circuit import BOOT, LEAD, Part, circuit
from hardware_notes.pin_check import (
    LEADS,
    PAIRS,
    PIN_REL,
    QUIET_V,
    PinSeen,
    at,
    check_pins,
    enable_is_low,
    explain,
    good_pin,
    powered,
)
from hardware_notes.solve import Board, diode_test_v, ohms, solve

Parts = tuple[Part, ...]
REL = 0.02  # 1 % parts, a handheld's own error, a little heat of the iron


@dataclass(frozen=True, slots=True)
class Reading:
    """What a meter shows or the board says: a measure's name, where, value, limits, and what is wrong below and above them."""

    what: str
    value: float
    low: float
    high: float
    below: str
    above: str

    @property
    def good(self) -> bool:
        """Within its limits."""
        return self.low <= self.value <= self.high

    @property
    def means(self) -> str:
        """What to look for; nothing where it is good."""
        return "" if self.good else (self.below if self.value < self.low else self.above)


@dataclass(frozen=True, slots=True)
class Step:
    """One step: number, what is done, and its readings of a given board."""

    number: int
    name: str
    readings: Callable[[Parts, str], list[Reading]]


def without_leads(parts: Parts) -> Parts:
    """The board with nothing in its terminal and no module in its socket."""
    return tuple(p for p in parts if p.place not in (BOOT, LEAD))


def near(what: str, value: float, right: float, means: str, rel: float = REL) -> Reading:
    """Within a share of the right value."""
    return Reading(what, value, right * (1 - rel), right * (1 + rel), means, means)


def network_of(build: str) -> tuple[float, float, float, float]:
    """Boot, board, bottom and pin resistors, ohm."""
    n = next(iter(builds.BUILDS[build].values()))
    return sum(n.parts_ohm[:4]), n.parts_ohm[4], n.r_bottom_ohm, n.r_series_ohm


def step_leads(parts: Parts, build: str) -> list[Reading]:
    """Each lead alone, clip to bare end, plugged in nowhere."""
    boot_ohm, *_ = network_of(build)
    found = []
    for i in LEADS:
        own = tuple(p for p in parts if p.place == BOOT and p.ref[1] == str(i))
        far = next(p.net("2") for p in own if p.ref == f"R{i}4")
        value = ohms(Board(own), f"CLIP{i}", far)
        found.append(near(f"lead {i}, clip to end", value, boot_ohm, f"boot of lead {i}: a wrong, crushed or open resistor"))
    ground = tuple(p for p in parts if p.place == LEAD)
    value = ohms(Board(ground), "CLIP0", ground[0].net("2"))
    found.append(Reading("ground lead", value, 0.0, 1.0, "", "ground lead: F1 blown or a joint open"))
    return found


def step_resistors(parts: Parts, build: str) -> list[Reading]:
    """Board bare, module out of its socket."""
    _, board_ohm, bottom_ohm, pin_ohm = network_of(build)
    board = Board(without_leads(parts))
    found = []
    found.append(
        Reading("J1.1 to socket 33", ohms(board, "AGND", at(parts, "U1.33")), 0.0, 1.0, "", "pin 33: the ground wire is open")
    )
    en, rail = ohms(board, at(parts, "U1.37"), at(parts, "U1.28")), ohms(board, at(parts, "U1.36"), at(parts, "U1.28"))
    found.append(
        Reading("socket 37 to socket 28", en, 100e3, math.inf, "pin 37: a wire of 3V3 is on 3V3_EN; it belongs on 36", "")
    )
    found.append(near("socket 36 to socket 28", rail, builds.R_BLEED_OHM, "R1, or the wire to pin 36", 0.07))
    for i, number in zip(LEADS, ("31", "32", "34"), strict=True):
        lead, node, pin = at(parts, f"J1.{i + 1}"), at(parts, f"R{i}6.1"), at(parts, f"R{i}7.2")
        node = f"NODE{i}" if node.startswith("AIR") else node
        found.append(near(f"R{i}5, end to end", ohms(board, lead, node), board_ohm, f"R{i}5: wrong value or joint"))
        bottom = ohms(board, node, "AGND")
        if bottom < 1.0:
            found.append(Reading(f"R{i}6, end to end", bottom, 1.0, math.inf, f"a bridge over R{i}6, C{i}1 or D{i}1", ""))
        found.append(
            near(f"R{i}6, end to end", bottom, bottom_ohm, f"R{i}6: wrong value or joint, or a bridge to the next lead")
        )
        found.append(near(f"R{i}7, end to end", ohms(board, node, pin), pin_ohm, f"R{i}7: wrong value or joint"))
        joint = ohms(board, at(parts, f"U1.{number}"), pin)
        found.append(Reading(f"R{i}7 to socket {number}", joint, 0.0, 1.0, "", f"pins {PAIRS[i]} exchanged, or a wire open"))
    for one, other in (("31", "32"), ("32", "33"), ("33", "34"), ("31", "34")):
        value = ohms(board, at(parts, f"U1.{one}"), at(parts, f"U1.{other}"))
        found.append(Reading(f"socket {one} to {other}", value, 1e3, math.inf, f"pins {one} and {other}: a bridge", ""))
    for first, second in ((1, 2), (2, 3), (1, 3)):
        value = ohms(board, f"NODE{first}", f"NODE{second}")
        found.append(
            Reading(
                f"node {first} to node {second}",
                value,
                1e3,
                math.inf,
                f"leads {first} and {second}: a bridge between their nodes",
                "",
            )
        )
    # A bridge shows as a wrong R16 too: what is said first must be the bridge.
    return sorted(found, key=lambda r: not ("bridge" in r.means and r.value < 1.0))


def step_diodes(parts: Parts, build: str) -> list[Reading]:
    """Board bare, meter's diode range, at the node (the leg of C11)."""
    board = Board(without_leads(parts))
    pair = any(p.kind == "D" for p in parts)
    found = []
    for i in LEADS:
        upper, lower = f"D{i}1", f"D{i}2" if pair else f"D{i}1"
        node = f"NODE{i}"
        tests = (
            (f"{upper}: red on node, black on 3V3", node, "3V3", 0.4, 0.9, upper),
            (f"{upper}: red on 3V3, black on node", "3V3", node, 1.0, math.inf, upper),
            (f"{lower}: red on ground, black on node", "AGND", node, 0.4, 0.9, lower),
        )
        for what, red, black, low, high, ref in tests:
            value = diode_test_v(board, red, black)
            found.append(Reading(what, value, low, high, f"{ref}: reversed or shorted", f"{ref}: reversed, missing or open"))
        # Backwards R16 carries the milliampere: the range shows open with the right R16 and little with a reversed diode.
        value = diode_test_v(board, node, "AGND")
        found.append(
            Reading(f"{lower}: red on node, black on ground", value, 1.0, math.inf, f"{lower}: reversed or shorted", "")
        )
    # One reversed diode pulls several readings: the one that is wrong in both directions is the part.
    return found


def step_power(parts: Parts, build: str) -> list[Reading]:
    """Module in, USB on, clips in the air: volts at the cathode of D11, the far end of the 3V3 wire."""
    found = solve(powered(parts))
    value = found.get("3V3", found.get(at(parts, "R1.1"), 0.0))
    return [
        Reading(
            "3V3 at D11's ring",
            value,
            3.2,
            3.4,
            "3V3 is missing: pin 37 (3V3_EN) wired for pin 36, or a bridge",
            "not a Pico-class board",
        )
    ]


def step_check(parts: Parts, build: str) -> list[Reading]:
    """`firstcrank board check`, every clip on the ground clip."""
    if enable_is_low(parts):
        return [Reading("the board answers", 0.0, 1.0, 1.0, "no board: pin 37 (3V3_EN) wired for pin 36", "")]
    right = good_pin(build)
    found = []
    for i, seen in check_pins(parts).items():
        explanation = explain(i, seen, right)
        low_v, high_v = right.after_4us_v * (1 - PIN_REL[0]), right.after_4us_v * (1 + PIN_REL[0])
        value = seen.after_4us_v
        if explanation and low_v <= value <= high_v:  # told by another of its numbers
            low_v = math.inf
        found.append(Reading(f"pin of lead {i}, 4 us after it was let go", value, low_v, high_v, explanation, explanation))
    return found


def step_nine_volts(parts: Parts, build: str) -> list[Reading]:
    """A 9 V cell on one clip at a time, the others on the ground clip."""
    nets = {i: at(parts, f"U1.{number}") for i, number in zip(LEADS, ("31", "32", "34"), strict=True)}
    n = next(iter(builds.BUILDS[build].values()))
    found = []
    for i in LEADS:
        volts = solve(powered(parts, {**dict.fromkeys(LEADS, 0.0), i: 9.0}))
        other = max(volts[net] for j, net in nets.items() if j != i)
        found.append(
            Reading(
                f"9 V on clip {i}: the other pins", other, -0.1, 0.1, "", "leads 1 and 2 (or their pins) exchanged, or a bridge"
            )
        )
        right = n.node_v(9.0)
        found.append(near(f"9 V on clip {i}: its pin", volts[nets[i]], right, f"boot of lead {i}, R{i}5 or R{i}6", 0.03))
    return found


def step_battery(parts: Parts, build: str) -> list[Reading]:
    """A charged battery on all clips."""
    nets = {i: at(parts, f"U1.{number}") for i, number in zip(LEADS, ("31", "32", "34"), strict=True)}
    system_v = float(builds.SYSTEM_V[build])
    n = next(iter(builds.BUILDS[build].values()))
    volts = solve(powered(parts, dict.fromkeys(LEADS, system_v)))
    return [near(f"pin of lead {i}", volts[net], n.node_v(system_v), f"lead {i}", 0.03) for i, net in nets.items()]


STEPS = (
    Step(1, "each lead alone: ohms", step_leads),
    Step(2, "board bare: ohms", step_resistors),
    Step(3, "board bare: diodes", step_diodes),
    Step(4, "module in, USB on: 3V3", step_power),
    Step(5, "board check, clips on ground", step_check),
    Step(6, "9 V on one clip at a time", step_nine_volts),
    Step(7, "battery on all clips", step_battery),
)


@cache
def walk(parts: Parts, build: str = "minimal 12 V", only: tuple[int, ...] = ()) -> tuple[int, str] | None:
    """The first step that stops this board, and what it says; None where all pass. `only`: these steps alone."""
    for step in STEPS:
        if only and step.number not in only:
            continue
        for reading in step.readings(parts, build):
            if not reading.good:
                return step.number, reading.means
    return None


def figures_json() -> str:
    """What `board check` should find at the pins: good boards, their limits, and each planted fault. For the program and its tests."""
    from hardware_notes.faults import FAULTS

    def rounded(seen: PinSeen) -> dict[str, float]:
        return {name: round(value, 3) + 0.0 for name, value in asdict(seen).items()}

    rows = []
    for fault in FAULTS:
        bad = fault.planted(circuit("minimal 12 V", clamp_pair=True))
        stopped, seen = walk(bad), walk(bad, only=(5,))
        rows.append(
            {
                "fault": fault.name,
                "part": fault.part,
                "step": stopped[0] if stopped else None,
                "says": stopped[1] if stopped else "",
                "board_check_says": seen[1] if seen else "",
                "pins": {str(i): rounded(pin) for i, pin in check_pins(bad).items()},
            }
        )
    good = {build: rounded(good_pin(build)) for build in ("minimal 12 V", "minimal 24 V")}
    limits = {"after_4us_rel": PIN_REL[0], "after_60us_rel": PIN_REL[1], "rest_at_most_v": QUIET_V, "others_at_most_v": QUIET_V}
    how = "every input clip on the ground clip, the vehicle not there; pin driven to 3.3 V until steady, let go, read 4 and 60 us later"
    return json.dumps({"how": how, "good": good, "limits": limits, "faults": rows}, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    print(figures_json())
