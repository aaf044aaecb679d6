"""Bring-up on paper: good boards pass every step, each planted fault stops at a step that names it, `board check`'s share counted."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hardware_notes import bring_up, make, pin_check, spice
from hardware_notes.circuit import Part, circuit
from hardware_notes.faults import FAULTS, Fault

from firstcrank.clamps import BAV199, SILICON_PAIR

BUILD = "minimal 12 V"
TWO_BUILDS = ("minimal 12 V", "minimal 24 V")
NOTES = Path(bring_up.__file__).parent


def within_tolerance(parts: tuple[Part, ...], rng: np.random.Generator) -> tuple[Part, ...]:
    """Resistors anywhere within 1 %, capacitors within 5 %, R1 within 5 %."""
    made = []
    for p in parts:
        rel = 0.05 if p.ref == "R1" or p.kind == "C" else 0.01
        off = 1.0 + rel * rng.uniform(-1, 1)
        made.append(replace(p, ohm=p.ohm * off, farad=p.farad * off))
    return tuple(made)


@pytest.mark.parametrize("build", TWO_BUILDS)
@pytest.mark.parametrize("pair", [False, True])
def test_good_boards_pass_every_step(build: str, pair: bool) -> None:
    rng = np.random.default_rng(7)
    assert bring_up.walk(circuit(build, pair), build) is None
    for _ in range(4):
        assert bring_up.walk(within_tolerance(circuit(build, pair), rng), build) is None


@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.name)
def test_each_planted_fault_stops_at_a_step_that_names_it(fault: Fault) -> None:
    stopped = bring_up.walk(fault.planted(circuit(BUILD, clamp_pair=True)), BUILD)
    assert stopped is not None
    assert fault.part in stopped[1], stopped


def test_board_check_alone_names_at_least_fourteen_of_them() -> None:
    named = []
    for fault in FAULTS:
        stopped = bring_up.walk(fault.planted(circuit(BUILD, clamp_pair=True)), BUILD, only=(5,))
        if stopped and fault.part in stopped[1]:
            named.append(fault.name)
    print(f"{len(FAULTS)} faults planted, board check alone names {len(named)}")
    assert len(FAULTS) >= 20
    assert len(named) >= 14


def test_the_pin_figures_of_a_good_board() -> None:
    """By hand, clips on ground: 3.3 V (5.638 k / 10.338 k) exp(-4 us / 56.38 us) = 1.677 V; the driver's 30 ohm take 0.3 %."""
    good = pin_check.good_pin(BUILD)
    assert good.after_4us_v == pytest.approx(1.672, abs=0.006)
    assert good.rest_v == pytest.approx(0.0, abs=1e-3)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice here (Debian package ngspice)")
@pytest.mark.parametrize("changed", [{}, {"R17": 470.0}, {"R17": 47e3}, {"R16": 68e3}, {"C11": 100e-9}])
def test_the_pin_figures_agree_with_ngspice_within_one_percent(changed: dict[str, float]) -> None:
    parts = tuple(
        replace(p, ohm=changed.get(p.ref, p.ohm), farad=changed.get(p.ref, p.farad)) if p.ref in changed else p
        for p in circuit(BUILD)
    )
    clips = [f"Vc{i} n_clip{i} 0 0" for i in (0, 1, 2, 3)]
    deck = [
        "let go", *clips, "Vr n_3v3 0 3.3", *spice.elements(parts), "Vd drv 0 3.3", "Vs sw 0 PWL(0 1 9m 1 9.00001m 0)",
        "S1 drv n_pin1 sw 0 let", ".model let SW(RON=30 ROFF=1e12 VT=0.5)", "Cp n_pin1 0 5p", spice.model(BAV199),
        spice.model(SILICON_PAIR), ".control", "tran 1u 9.1m 0 1u", "meas tran one find v(n_pin1) at=9.004m",
        "meas tran two find v(n_pin1) at=9.06m", ".endc", ".end",
    ]  # fmt: skip
    found = spice.run("\n".join(deck) + "\n")
    ours = pin_check.check_pins(parts)[1]
    assert ours.after_4us_v == pytest.approx(found["one"], rel=0.01)
    assert ours.after_60us_v == pytest.approx(found["two"], rel=0.01)


def test_the_figures_kept_for_board_check_are_the_ones_computed() -> None:
    kept = json.loads(make.SOLDER_FAULTS.read_text("utf-8"))
    assert kept == json.loads(bring_up.figures_json())
    assert {row["fault"] for row in kept["faults"]} == {f.name for f in FAULTS}
