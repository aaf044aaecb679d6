"""The builds' parts as an ngspice deck, and what ngspice makes of it. The same list of parts as the board and the drawings."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from firstcrank.clamps import BAV199, SILICON_PAIR, Clamp
from firstcrank.divider.pulses import Pulse
from hardware_notes.circuit import Part

GROUND = {"AGND", "GND"}  # joined on the board
RISE_S = 1e-9
# An ordinary 1N4148 and not the worst: lets more through at a given voltage, which is what half-powers a board (public model card).
TYPICAL = "D(IS=2.52n N=1.752 RS=0.568 TNOM=25)"


def node(net: str) -> str:
    """A net's name in the deck."""
    return "0" if net in GROUND else f"n_{net.lower()}"


def model(clamp: Clamp) -> str:
    """Forward law only: leakage is given as current sources where it matters."""
    return f".model {clamp.name.split()[-1].lower()} D(IS={clamp.i_s_a:.6g} N={clamp.n:.6g} RS={clamp.r_s_ohm:.6g} TNOM=25)"


def elements(parts: Iterable[Part]) -> list[str]:
    """One line an element; boards, terminals and switches are left out."""
    lines = []
    for part in parts:
        pins = [node(net) for _, net in part.pins]
        if part.kind == "R":
            lines.append(f"{part.ref} {pins[0]} {pins[1]} {part.ohm:.10g}")
        elif part.kind == "C":
            lines.append(f"{part.ref} {pins[0]} {pins[1]} {part.farad:.6g}")
        elif part.kind == "F":
            lines.append(f"R{part.ref} {pins[0]} {pins[1]} 0.05")
        elif part.kind == "D":
            lines.append(f"{part.ref} {pins[1]} {pins[0]} 1n4148")
        elif part.kind == "D2":
            low, high, middle = pins
            lines += [f"{part.ref}a {middle} {high} bav199", f"{part.ref}b {low} {middle} bav199"]
    return lines


def run(deck: str) -> dict[str, float]:
    """Named numbers that the deck prints. Raises RuntimeError with ngspice's words where it fails; needs ngspice on the path."""
    if shutil.which("ngspice") is None:
        raise FileNotFoundError("ngspice (Debian package ngspice)")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "deck.cir"
        file.write_text(deck)
        done = subprocess.run(["ngspice", "-b", str(file)], capture_output=True, text=True, timeout=120, check=False)
    if "run simulation(s) aborted" in done.stdout + done.stderr or "Error" in done.stderr:
        raise RuntimeError(f"ngspice: {done.stderr[-600:]}")
    return {name: float(value) for name, value in re.findall(r"^(\w+)\s*=\s*([-+.\deE]+)", done.stdout, re.MULTILINE)}


def at_tolerance(parts: Iterable[Part], worst: str, tolerance: float) -> tuple[Part, ...]:
    """One resistor of a boot high and the others of its chain low: the worst share that `worst` can get."""
    lead = worst[:2]
    chain = {f"{lead}{k}" for k in range(1, 6)}
    return tuple(
        replace(p, ohm=p.ohm * (1 + tolerance if p.ref == worst else 1 - tolerance)) if p.ref in chain else p for p in parts
    )


def transient(parts: tuple[Part, ...], pulse: Pulse, lead: int, others_v: float = 0.0, rail_v: float = 3.3) -> dict[str, float]:
    """A pulse at one clip, every element watched: highest volts (v_), power (w_), energy (j_), current of diodes (a_;
    e_ at the pulse's end), by name."""
    length, edge = pulse.duration_s, min(RISE_S, pulse.duration_s / 1000)
    span = min(length, 3e-3)  # longer ones are steady long before
    clips = sorted({int(net[4:]) for p in parts for _, net in p.pins if re.fullmatch(r"CLIP\d", net)} - {0})
    sources = [f"Vrail n_3v3 0 {rail_v}", "Vground n_clip0 0 0"]
    for clip in clips:
        if clip == lead:
            sources += [
                f"Vp pulse 0 PWL(0 0 {edge:.6g} {pulse.volts} {length:.6g} {pulse.volts})",
                f"Rp pulse n_clip{clip} {max(pulse.source_ohm, 1e-3)}",
            ]
        else:
            sources.append(f"Vc{clip} n_clip{clip} 0 {others_v}")
    listed = [p for p in parts if p.kind in ("R", "C") and p.ref != "R1"]
    watched = []
    for p in listed:
        one, other = (node(net) for _, net in p.pins)
        across = f"(v({one})-v({other}))" if other != "0" else f"v({one})"
        name = p.ref.lower()
        watched += [f"let dv_{name} = {across}", f"let v_{name} = vecmax(abs(dv_{name}))", f"print v_{name}"]
        if p.kind == "R":
            watched += [
                f"let p_{name} = dv_{name}*dv_{name}/{p.ohm:.10g}",
                f"let w_{name} = vecmax(p_{name})",
                f"print w_{name}",
            ]
            watched.append(f"meas tran j_{name} INTEG p_{name}")
    diodes = [line.split()[0].lower() for line in elements(parts) if line.split()[0].startswith("D")]
    for name in diodes:
        watched += [f"let i_{name} = abs(@{name}[id])", f"let a_{name} = vecmax(i_{name})", f"print a_{name}"]
        watched += [f"let e_{name} = i_{name}[length(i_{name})-1]", f"print e_{name}"]
    pins = sorted({net for p in parts for _, net in p.pins if net.startswith("NODE")})
    for net in pins:
        watched += [f"let hi_{net.lower()} = vecmax(v({node(net)}))", f"print hi_{net.lower()}"]
        watched += [f"let lo_{net.lower()} = vecmin(v({node(net)}))", f"print lo_{net.lower()}"]
    deck = [
        "pulse at a clip", *sources, *elements(parts), model(BAV199), model(SILICON_PAIR), ".options reltol=1e-5 method=gear temp=25",
        *([f".save all {' '.join(f'@{name}[id]' for name in diodes)}"] if diodes else []),
        ".control", f"tran {span / 4000:.6g} {span:.6g} 0 {span / 2000:.6g}", *watched, ".endc", ".end",
    ]  # fmt: skip
    return run("\n".join(deck) + "\n")


def steady(
    parts: Iterable[Part],
    clips_v: Mapping[int, float],
    extra: Iterable[str] = (),
    shown: Iterable[str] = (),
    typical: bool = False,
) -> dict[str, float]:
    """Operating point: volts of the nets named in `shown`; `extra` lines add sources and loads; `typical` diodes for worst ones."""
    sources = ["Vground n_clip0 0 0", *(f"Vc{clip} n_clip{clip} 0 {volts}" for clip, volts in clips_v.items())]
    watched = []
    for net in shown:
        watched += [f"let s_{net.lower()} = v({node(net)})", f"print s_{net.lower()}"]
    models = [f".model {name} {TYPICAL}" for name in ("bav199", "1n4148")] if typical else [model(BAV199), model(SILICON_PAIR)]
    deck = [
        "steady", *sources, *extra, *elements(parts), *models, ".options reltol=1e-6 temp=25",
        ".control", "op", *watched, ".endc", ".end",
    ]  # fmt: skip
    return run("\n".join(deck) + "\n")
