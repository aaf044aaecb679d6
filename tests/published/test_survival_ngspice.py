"""Every listed pulse through every build in ngspice: each element below its own rating, and the designer's figures within 1 %."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from functools import cache

import pytest
from hardware_notes import builds, spice
from hardware_notes.circuit import Part, circuit

from firstcrank.clamps import BAV199, SILICON_PAIR
from firstcrank.divider.network import Network
from firstcrank.divider.pulses import Pulse, pulses
from firstcrank.divider.stress import PIN_LIMIT_A, discharge, film_rise_k, pin_protection_a, stress

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice here (Debian package ngspice)")
INPUTS = [("minimal 12 V", 1), ("minimal 24 V", 1), ("better 12 V", 7)]  # lead 7: a lifted ground input
CASES = [
    pytest.param(build, lead, pair, pulse, id=f"{build}-{lead}-{'pair' if pair else 'one'}-{pulse.name}")
    for build, lead in INPUTS
    for pair in (False, True)
    for pulse in pulses(builds.SYSTEM_V[build])
]


@cache
def one_lead(build: str, lead: int, pair: bool) -> tuple[Part, ...]:
    """The parts of one lead, the worst boot resistor high and its fellows low."""
    parts = [p for p in circuit(build, pair) if p.ref[1:2] == str(lead) and len(p.ref) == 3]
    return spice.at_tolerance(parts, f"R{lead}1", builds.TOLERANCE)


def as_built(build: str, lead: int, pair: bool) -> Network:
    """The designer's network with the same resistors."""
    nominal = list((builds.with_pair(build) if pair else builds.BUILDS[build]).values())[lead - 1]
    chain = tuple(p.ohm for p in one_lead(build, lead, pair) if p.ref[:2] == f"R{lead}" and p.ref[2] in "12345")
    return replace(nominal, r_top_ohm=sum(chain), top_parts_ohm=chain)


@needs_ngspice
@pytest.mark.parametrize(("build", "lead", "pair", "pulse"), CASES)
def test_every_element_stays_below_its_rating_and_the_figures_agree(build: str, lead: int, pair: bool, pulse: Pulse) -> None:
    parts = one_lead(build, lead, pair)
    found = spice.transient(parts, pulse, lead)
    for p in parts:
        name = p.ref.lower()
        if p.kind == "C":
            assert found[f"v_{name}"] <= 50.0
        if p.kind == "R":
            assert found[f"v_{name}"] <= builds.RATINGS.working_v, p.ref
            if pulse.duration_s > 5e-3:
                steady = pulse.duration_s > 5.0
                assert found[f"w_{name}"] <= builds.RATINGS.power_w * (1.0 if steady else builds.RATINGS.overload), p.ref
            else:
                assert film_rise_k(found[f"w_{name}"], pulse.duration_s) <= 60.0, p.ref
    diodes_a = [value for name, value in found.items() if name.startswith("a_d")]
    network = as_built(build, lead, pair)
    assert network.clamp is not None
    assert max(diodes_a) <= (network.clamp.pulse_a if pulse.duration_s <= 1e-3 else network.clamp.steady_a)
    high_v, low_v = found[f"hi_node{lead}"], found[f"lo_node{lead}"]
    assert max(pin_protection_a(network, high_v), -pin_protection_a(network, low_v)) <= PIN_LIMIT_A

    ours = stress(network, pulse, replace(builds.RATINGS, tolerance=0.0))
    assert found[f"v_r{lead}1"] == pytest.approx(ours.part_v, rel=0.01)
    assert found[f"w_r{lead}1"] == pytest.approx(ours.part_w, rel=0.01)
    # At the pulse's end: the solver overshoots a little where the clamp begins to conduct.
    ends_a = max(value for name, value in found.items() if name.startswith("e_d"))
    assert ends_a == pytest.approx(abs(ours.clamp_a), rel=0.01, abs=1e-9)
    if "kick" in pulse.name:
        assert found[f"j_r{lead}1"] == pytest.approx(ours.part_j, rel=0.01)


@needs_ngspice
def test_a_persons_discharge_is_stated_at_its_worst() -> None:
    """8 kV on 150 pF through 330 ohm (IEC 61000-4-2, from memory): clamp, part and energy never above what is stated, within 10 %."""
    parts = [p for p in circuit("minimal 12 V") if p.ref[1:2] == "1" and len(p.ref) == 3]
    deck = [
        "discharge", "Vr n_3v3 0 3.3", "Ch hand 0 150p ic=8000", "Rh hand n_clip1 330", *spice.elements(parts),
        spice.model(BAV199), spice.model(SILICON_PAIR), ".save all @d11a[id]", ".control", "tran 1n 20u uic",
        "let a = vecmax(@d11a[id])", "print a", "let v = vecmax(v(n_clip1)-v(n_boot1a))", "print v",
        "let n = vecmax(v(n_node1))", "print n",
        f"let w = (v(n_clip1)-v(n_boot1a))^2/{builds.INPUT_12V.parts_ohm[0]}", "meas tran j INTEG w", ".endc", ".end",
    ]  # fmt: skip
    found = spice.run("\n".join(deck) + "\n")
    stated = discharge(builds.INPUT_12V, replace(builds.RATINGS, tolerance=0.0))
    for seen, stated_value in (
        (found["a"], stated.clamp_a),
        (found["v"], stated.part_v),
        (found["n"], stated.node_v),
        (found["j"], stated.part_j),
    ):
        assert 0.9 * stated_value <= seen <= stated_value


@needs_ngspice
def test_settling_agrees_within_one_percent() -> None:
    """Time from a 1 V step to within half a step of 12 bits of its end, the whole lead with its pin resistor."""
    parts = [p for p in circuit("minimal 12 V") if p.ref[1:2] == "1" and len(p.ref) == 3 and p.kind != "D2"]
    n = builds.INPUT_12V
    deck = [
        "settling", "V1 n_clip1 0 PULSE(0 1 0 1n 1n 1 2)", *spice.elements(parts), ".options reltol=1e-7", ".control",
        "tran 0.5u 1.5m 0 0.5u", f"meas tran settled when v(n_node1)={n.node_v(1.0) * (1 - 2**-13)}", ".endc", ".end",
    ]  # fmt: skip
    assert spice.run("\n".join(deck) + "\n")["settled"] == pytest.approx(n.settling_s(), rel=0.01)


@needs_ngspice
def test_live_leads_do_not_half_power_a_board_that_is_off() -> None:
    """Three clips at 12 V, the board without USB and 10 k on its rail, ordinary diodes. With and without R1."""
    parts = circuit("minimal 12 V")
    live = dict.fromkeys((1, 2, 3), 12.0)
    load = [f"Rload n_3v3 0 {builds.RAIL_LOAD_OHM:g}"]
    with_r1 = spice.steady(parts, live, load, ["3V3"], typical=True)["s_3v3"]
    without = spice.steady([p for p in parts if p.ref != "R1"], live, load, ["3V3"], typical=True)["s_3v3"]
    assert with_r1 < 0.4
    assert without > 1.2
    print(f"rail of a dead board: {with_r1:.2f} V with R1, {without:.2f} V without")


def test_the_fuse_breaks_what_the_ground_leads_own_wire_lets_through() -> None:
    """Ground clip on the plus post and the laptop's shield on the body: 14.4 V through the lead alone, IEC 60228 class 5 at 20 degC."""
    from firstcrank.wiring.gauge import metric_ohm_per_m

    amperes = 14.4 / (metric_ohm_per_m(builds.LEAD_MM2) * builds.LEAD_M)
    assert 50.0 < amperes < builds.FUSE_BREAKING_A
    assert math.isclose(builds.FUSE_A, 2.0)
