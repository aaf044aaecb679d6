"""The tables of the notes in Markdown, every number computed from the builds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from firstcrank.divider.budget import METERS, Parts, budget, calibrated_budget, node_ends_v
from firstcrank.divider.network import Network
from firstcrank.divider.pulses import pulses
from firstcrank.divider.stress import stress
from firstcrank.divider.values import written
from hardware_notes import bring_up, builds
from hardware_notes.bill import order_rows
from hardware_notes.circuit import circuit
from hardware_notes.pin_check import check_pins


def markdown(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A Markdown table."""
    lines = ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)])


def input_of(build: str, role: str) -> Network:
    """The network of a role."""
    return builds.BUILDS[build][role]


def probing(build: str, role: str) -> str:
    """At the clip, at the pin (nominal, ends of 1 % resistors), code. Above full scale the clamp holds it: highest diode voltage."""
    n = input_of(build, role)
    shown = builds.GROUND_V if n.r_up_ohm else builds.SHOWN_V[build]
    rows = []
    for clip_v in shown:
        low, high = node_ends_v(n, clip_v, builds.TOLERANCE)
        nominal = n.held(clip_v)[0]
        rows.append([f"{clip_v:g} V", f"{nominal + 0.0:.2f} V", f"{low + 0.0:.2f} to {high + 0.0:.2f} V", str(n.code(clip_v))])
    return markdown(["at the clip", "at the pin", "with 1 % resistors", "code"], rows)


def survival(build: str, role: str) -> str:
    """Every pulse: clamp current, pin, chip's protection, the worst part of the upper resistor, outcome, source."""
    rows = []
    for pulse in pulses(builds.SYSTEM_V[build]):
        s = stress(input_of(build, role), pulse, builds.RATINGS)
        joules = f"{s.part_j * 1e3:.2g} mJ" if pulse.duration_s <= 5e-3 else "-"
        rows.append(
            [
                pulse.name,
                f"{pulse.volts:+g} V",
                f"{round(s.clamp_a * 1e3, 2) + 0.0:+.2f} mA",
                f"{s.node_v:+.2f} V",
                f"{round(s.pin_a * 1e3, 2) + 0.0:+.2f} mA",
                f"{s.part_v:.0f} V, {s.part_w:.2g} W, {joules}",
                "survives" if s.survives else f"DOES NOT: {s.why}",
                pulse.source,
            ]
        )
    heads = ["pulse", "at the clip", "clamp", "pin¹", "chip takes²", "worst part³", "outcome", "source"]
    return markdown(heads, rows)


def error_tables() -> str:
    """Every build's table under its title."""
    return "\n\n".join(f"## {t.title}\n\n{errors(t)}" for t in builds.ERROR_TABLES)


def errors(of: builds.ErrorTable) -> str:
    """95 % at the clip in mV, before and after calibration, at both temperatures."""
    n, parts = input_of(of.build, of.role), of.parts
    meters = list(METERS.items())
    heads = ["at the clip"]
    heads += [f"uncalibrated, {c:g} °C" for c in builds.ERROR_C]
    heads += [f"calibrated with {name}, {c:g} °C" for name, _ in meters[:2] for c in builds.ERROR_C]
    rows = []
    for clip_v in builds.error_v(of.build, of.role):
        row = [f"{clip_v:g} V"] + [f"± {budget(n, parts, clip_v, c).expanded_v * 1e3:.0f} mV" for c in builds.ERROR_C]
        row += [
            f"± {calibrated_budget(n, parts, clip_v, c, meter).expanded_v * 1e3:.0f} mV"
            for _, meter in meters[:2]
            for c in builds.ERROR_C
        ]
        rows.append(row)
    return markdown(heads, rows)


def shares(build: str, role: str, clip_v: float, celsius: float) -> str:
    """Each contribution's limit at one voltage and temperature, before and after calibration with the best meter."""
    n, parts = input_of(build, role), builds.PARTS[build]
    before = {line.what: line.limit_v for line in budget(n, parts, clip_v, celsius).lines}
    after = {
        line.what: line.limit_v for line in calibrated_budget(n, parts, clip_v, celsius, next(iter(METERS.values()))).lines
    }
    rows = []
    for what in [*before, *(w for w in after if w not in before)]:
        cells = [f"{1e3 * d[what]:.1f} mV" if what in d else "-" for d in (before, after)]
        rows.append([what, *cells])
    return markdown(["contribution", "limit, uncalibrated", "limit, calibrated"], rows)


def clamps() -> str:
    """The three clamps compared: leakage at the clip, what the pin sees."""
    kick = next(p for p in pulses(12) if "1000 V" in p.name)
    dump = next(p for p in pulses(12) if "not suppressed" in p.name)
    rows = []
    for clamp in builds.CLAMPS_COMPARED:
        cells = []
        for n in (builds.INPUT_12V, builds.INPUT_24V):
            network = replace(n, clamp=clamp)
            for c in builds.ERROR_C:
                line = next(x for x in budget(network, Parts(), 7.0, c).lines if x.what == "clamp's leakage")
                cells.append(f"{line.limit_v * 1e3:.2g} mV" if line.limit_v < 0.1 else f"{line.limit_v * 1e3:.0f} mV")
        seen = [stress(replace(builds.INPUT_12V, clamp=clamp), p, builds.RATINGS) for p in (kick, dump)]
        rows.append([clamp.name, *cells, *(f"{s.node_v:+.2f} V, {s.pin_a * 1e3:+.2f} mA" for s in seen), clamp.sources.short])
    total12, total24 = (written(n.r_top_ohm, "Ω") for n in (builds.INPUT_12V, builds.INPUT_24V))
    heads = ["clamp"] + [f"leaks, {total}, {c:g} °C" for total in (total12, total24) for c in builds.ERROR_C]
    return markdown([*heads, "pin at a kick of 1000 V", "pin at 101 V", "source"], rows)


def limits_text(value: float) -> str:
    """A limit with its unit scaled: ohms."""
    return "open" if math.isinf(value) else written(value, "Ω")


LEAD_1 = (
    "lead 1",
    "ground",
    "J1",
    "socket",
    "R11",
    "R15",
    "R16",
    "R17",
    "node 1",
    "D11",
    "D12",
    "9 V on clip 1",
    "3V3",
    "pin of lead 1",
)


def meter_steps(build: str, number: int) -> str:
    """The readings of a bring-up step that a meter takes, with limits and what is wrong outside them."""
    step = bring_up.STEPS[number - 1]
    ohmic = number <= 2
    rows = []
    parts = circuit(build, clamp_pair=True)
    for r in step.readings(parts, build):
        if not r.what.startswith(LEAD_1):
            continue  # leads 2 and 3 read the same
        if ohmic:
            right = (
                f"{limits_text(r.low)} to {limits_text(r.high)}"
                if r.low and not math.isinf(r.high)
                else (f"above {limits_text(r.low)}" if math.isinf(r.high) else f"below {limits_text(r.high)}")
            )
        else:
            right = f"above {r.low:.1f} V, or open" if math.isinf(r.high) else f"{max(r.low, 0.0):.2f} to {r.high:.2f} V"
        wrong = (
            r.below if r.below == r.above or not r.above else (r.above if not r.below else f"low: {r.below}; high: {r.above}")
        )
        rows.append([r.what, right, wrong])
    return markdown(["measure", "good", "**Stop** otherwise"], rows)


def planted() -> str:
    """Each planted fault: the step that stops, what it says, what the pin check alone says."""
    from hardware_notes.faults import FAULTS

    rows = []
    for fault in FAULTS:
        bad = fault.planted(circuit("minimal 12 V", clamp_pair=True))
        stopped, seen = bring_up.walk(bad), bring_up.walk(bad, only=(5,))
        pin = check_pins(bad)[2 if "32 to pin 33" in fault.name else 1]
        volts = f"{pin.rest_v + 0.0:.2f}, {pin.after_4us_v:.2f}, {pin.after_60us_v:.2f} V"
        assert stopped is not None
        rows.append([fault.name, f"{stopped[0]}: {stopped[1]}", volts, seen[1] if seen else "not visible at the pin"])
    return markdown(["fault", "stops at step", "pin at rest, 4 and 60 µs after", "`board check` alone"], rows)


def parts_table(build: str, clamp_pair: bool) -> str:
    """What to order, from the bill of materials."""
    rows = [
        [row[c] for c in ("quantity", "designators", "description", "value", "rating", "alternates")]
        for row in order_rows(build, clamp_pair)
    ]
    return markdown(["quantity", "designators", "what", "value", "rating", "instead"], rows)
