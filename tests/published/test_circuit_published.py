"""The bench's power circuit against ngspice: inrush of a starter that cannot turn, with the battery's polarisation."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firstcrank.bench.plan import healthy_plan
from firstcrank.bench.power_circuit import solve

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
