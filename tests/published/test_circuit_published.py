"""The simulator against ngspice: inrush of a starter that cannot turn, with the battery's polarisation; a relay's coil."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firstcrank_sim.vehicle.plan import healthy_plan
from firstcrank_sim.vehicle.power_circuit import solve
from firstcrank_sim.vehicle.relay import STEP_S as RELAY_STEP_S
from firstcrank_sim.vehicle.relay import Relay, coil_current
from firstcrank_sim.vehicle.waveform import Waveform
from firstcrank_sim.vehicle.wiring import heater

NETLIST = """locked starter
VB ocv 0 {ocv}
R0 ocv a {r0}
R1 a b {r1}
C1 a b {c1} IC={u1}
R2 b post {r2}
C2 b post {c2} IC={u2}
IL post 0 {load}
RC post 0 {coil}
RM post l {main}
LM l 0 {ind} IC=0
.options reltol=1e-6
.control
tran 20u {stop} 0 20u uic
{measures}
.endc
.end
"""
AT_S = (0.002, 0.01, 0.05, 0.2, 0.6, 1.2)


def test_inrush_and_polarisation_agree_with_ngspice(tmp_path: Path) -> None:
    if shutil.which("ngspice") is None:
        pytest.skip("no ngspice here (Debian package ngspice)")
    plan = healthy_plan(np.random.default_rng(4), crank_s=2.5)
    v = replace(plan.vehicle, kt=1e-6, free_a=0.0, inertia_kgm2=1e9)  # cannot turn: the motor is a resistor and a coil
    (power,) = solve([v], [plan.schedule], np.array([0.3]))
    engaged_s = plan.schedule.engage_s
    measures = "\n".join(f"meas tran v{i} find v(post) at={at_s}" for i, at_s in enumerate(AT_S))
    measures += "\n" + "\n".join(f"meas tran i{i} find i(lm) at={at_s}" for i, at_s in enumerate(AT_S))
    text = NETLIST.format(
        ocv=v.open_circuit_v,
        r0=v.ohmic_ohm,
        r1=v.polarisation_ohm[0],
        c1=v.polarisation_s[0] / v.polarisation_ohm[0],
        r2=v.polarisation_ohm[1],
        c2=v.polarisation_s[1] / v.polarisation_ohm[1],
        load=v.load_on_a,
        coil=v.hold_ohm + v.control_ohm,
        u1=v.load_on_a * v.polarisation_ohm[0],
        u2=v.load_on_a * v.polarisation_ohm[1] * (1 - np.exp(-(engaged_s - plan.schedule.on_s) / v.polarisation_s[1])),
        main=v.main_ohm,
        ind=v.starter_h,
        stop=AT_S[-1] + 0.01,
        measures=measures,
    )
    (tmp_path / "c.cir").write_text(text)
    done = subprocess.run(["ngspice", "-b", str(tmp_path / "c.cir")], capture_output=True, text=True, timeout=120)
    found = dict(re.findall(r"^(\w+)\s*=\s*([-+.\deE]+)", done.stdout, re.MULTILINE))
    assert len(found) >= 2 * len(AT_S), done.stdout[-800:] + done.stderr[-400:]
    for i, at_s in enumerate(AT_S):
        ours_v = float(np.interp(engaged_s + at_s, power.at_s, power.battery_v))
        ours_a = float(np.interp(engaged_s + at_s, power.at_s, power.starter_a))
        assert ours_v == pytest.approx(float(found[f"v{i}"]), abs=0.04 if at_s < 0.005 else 0.02)
        assert ours_a == pytest.approx(float(found[f"i{i}"]), rel=0.02)


def test_locked_current_by_ohms_law() -> None:
    """Thevenin: a starter that cannot turn draws (OCV - load drop) / (battery + loop) once its coil has filled."""
    plan = healthy_plan(np.random.default_rng(5), crank_s=2.0)
    v = replace(plan.vehicle, kt=1e-6, free_a=0.0, inertia_kgm2=1e9, polarisation_ohm=(1e-9, 1e-9))
    (power,) = solve([v], [plan.schedule], np.array([0.3]))
    at = np.searchsorted(power.at_s, plan.schedule.engage_s + 0.5)
    side = 1.0 / (v.hold_ohm + v.control_ohm)
    battery_v = (v.open_circuit_v - v.ohmic_ohm * v.load_on_a) / (1 + v.ohmic_ohm * (side + 1 / v.main_ohm))
    assert float(power.battery_v[at]) == pytest.approx(battery_v, abs=0.01)
    assert float(power.starter_a[at]) == pytest.approx(battery_v / v.main_ohm, rel=0.005)


RELAY = """relay coil behind a switch, a sag while it holds
VS src 0 PWL(0 12 0.03 12 0.0301 7 0.05 7 0.0501 10)
S1 src top ctl 0 sw
VC ctl 0 PWL(0 1 0.07 1 0.070001 0)
.model sw sw(vt=0.5 ron=1m roff=100meg)
RC top mid {ohm}
LC mid 0 {henry} IC=0
{across}
.options reltol=1e-6
.control
tran 10u 0.09 0 10u uic
{measures}
.endc
.end
"""
COIL_AT_S = (0.002, 0.01, 0.029, 0.033, 0.049, 0.055, 0.069, 0.0705, 0.071, 0.072)


@pytest.mark.parametrize("suppression", ["resistor", "diode"])
def test_relay_coil_agrees_with_ngspice(tmp_path: Path, suppression: str) -> None:
    """Pull-in, a sag and the release of the coil's current. The diode's 0.7 V stand in ngspice as a source behind a near-ideal one."""
    if shutil.which("ngspice") is None:
        pytest.skip("no ngspice here (Debian package ngspice)")
    relay = Relay(coil_c=60.0, suppression=suppression)
    across = {
        "resistor": f"RP top 0 {relay.resistor_ohm}",
        "diode": "VF bottom 0 -0.68\nD1 bottom top near\n.model near d(is=1e-9 n=0.05 rs=1m)",
    }[suppression]
    measures = "\n".join(f"meas tran i{i} find i(lc) at={at_s}" for i, at_s in enumerate(COIL_AT_S))
    text = RELAY.format(ohm=relay.hot_ohm, henry=relay.coil_h, across=across, measures=measures)
    (tmp_path / "r.cir").write_text(text)
    done = subprocess.run(["ngspice", "-b", str(tmp_path / "r.cir")], capture_output=True, text=True, timeout=120)
    found = dict(re.findall(r"^(i\d+)\s*=\s*([-+.\deE]+)", done.stdout, re.MULTILINE))
    assert len(found) == len(COIL_AT_S), done.stdout[-800:] + done.stderr[-400:]
    t = np.arange(0.0, 0.09, RELAY_STEP_S)
    volts = np.interp(t, [0, 0.03, 0.0301, 0.05, 0.0501], [12, 12, 7, 7, 10])
    current = coil_current(relay, volts, t < 0.07)
    full_a = 12.0 / relay.hot_ohm
    for i, at_s in enumerate(COIL_AT_S):
        assert float(np.interp(at_s, t, current)) == pytest.approx(float(found[f"i{i}"]), abs=0.01 * full_a)


def test_a_turning_starter_balances_volts_and_torque() -> None:
    """DC motor at steady speed (textbook): v = R i + kt w and kt (i - i_free) = load torque, compressions left out."""
    plan = healthy_plan(np.random.default_rng(6), crank_s=3.0)
    v = replace(plan.vehicle, compression_nm=0.0, starter_h=6e-5)
    (power,) = solve([v], [plan.schedule], np.array([0.3]))
    at = np.searchsorted(power.at_s, plan.schedule.engage_s + 2.5)
    amperes, speed = float(power.starter_a[at]), float(power.speed_rpm[at]) * np.pi / 30.0
    assert speed > 5.0
    assert float(power.battery_v[at]) == pytest.approx(v.main_ohm * amperes + v.kt * speed, abs=0.02)
    drag_nm = v.friction_nm * (0.75 + 0.25 * min(speed / 20.0, 2.0))  # the model's own friction
    assert v.kt * (amperes - v.free_a) == pytest.approx(drag_nm, rel=0.02)


@pytest.mark.parametrize("low_side", [False, True])
def test_the_heaters_coil_fills_as_an_rl_circuit_does(low_side: bool) -> None:
    """i = v / R (1 - exp(-t R / L)) (textbook): across the coil v less the wire's drop, high or low side switched."""
    plan = healthy_plan(np.random.default_rng(7), heater=True)
    how = replace(plan.wiring.heater, low_side=low_side)
    begin_s, end_s = plan.schedule.heater_s[0]
    flat = Waveform(np.array([0.0, plan.schedule.end_s]), np.array([12.0, 12.0]))
    plus, minus = heater(plan.vehicle, plan.schedule, how, flat)
    ohm = how.coil_ohm + how.wire_ohm
    assert end_s - begin_s > 5 * how.coil_h / ohm
    since_s = np.array([0.5, 1.0, 2.0, 4.0]) * how.coil_h / ohm
    across_v = plus(begin_s + since_s) - minus(begin_s + since_s)
    amperes = 12.0 / ohm * (1.0 - np.exp(-since_s * ohm / how.coil_h))
    assert across_v == pytest.approx(12.0 - amperes * how.wire_ohm, abs=0.02)
