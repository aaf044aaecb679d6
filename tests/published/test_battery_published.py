"""The simulator's battery, coils and wires against published tables and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.wiring.gauge import awg_diameter_m
from firstcrank_sim.vehicle.battery import internal_ohm, open_circuit_v
from firstcrank_sim.vehicle.conductor import copper_hot_ohm, copper_ohm
from firstcrank_sim.vehicle.relay import STEP_S, Relay, relay_open
from firstcrank_sim.vehicle.waveform import Waveform
from tests.acceptance.start import CRANK_S, KEY_ON_S, RELEASE_S, Start

# Relative density of the acid at 80 degF by state of charge: BCI's table for flooded batteries, from memory.
DENSITY = [(1.0, 1.265), (0.75, 1.225), (0.5, 1.190), (0.25, 1.155), (0.0, 1.120)]


@pytest.mark.parametrize(("charge", "density"), DENSITY)
def test_open_circuit_voltage_follows_the_acids_density(charge: float, density: float) -> None:
    """Six cells of density + 0.845 V each (handbook rule, from memory): another way to the voltage than the table it is taken from."""
    assert open_circuit_v(charge) == pytest.approx(6.0 * (density + 0.845), abs=0.11)


def test_the_rest_limit_is_the_half_charged_battery() -> None:
    assert open_circuit_v(0.5) - 0.1 < shipped(12)["battery_rest_warn_v"] < open_circuit_v(0.5)


# Load test at half the rated current for 15 s, lowest voltage that still passes, degC and volts: Kia Amanti repair manual, 2009, Charging
# System, Battery, Inspection, Load Test (web edition, no pages); another table (Suzuki Aerio, 2005,
# Battery Inspection, Load Test) has 8.0 V at -18 degC.
# A full healthy battery must lie above its row.
LOAD_TEST = [(20, 9.6), (16, 9.5), (10, 9.4), (4, 9.3), (-1, 9.1), (-7, 8.9), (-12, 8.7), (-18, 8.5)]


@pytest.mark.parametrize(("celsius", "volts"), LOAD_TEST)
def test_a_healthy_battery_passes_the_load_test(celsius: float, volts: float) -> None:
    for amperes in (500.0, 900.0):
        held_v = open_circuit_v(1.0, celsius) - amperes / 2 * internal_ohm(amperes, celsius, 1.0)
        assert volts < held_v < 12.0


# ISO-type relay: TE Connectivity, Power Relay K datasheet, V23076-A3001: 90 ohm, operates at 6.9 V or less, releases at 1.2 V or more.
# Copper at 85, 125 and -20 degC: R = R20 (234.5 + T) / 254.5 (IEC 60034-1, 8.6.2.3.3 gives 235; from memory), worked by hand.
@pytest.mark.parametrize(("celsius", "ohm"), [(85.0, 112.99), (20.0, 90.0)])
def test_coil_resistance_rises_with_temperature(celsius: float, ohm: float) -> None:
    assert copper_hot_ohm(90.0, celsius) == pytest.approx(ohm, abs=0.01)


@pytest.mark.parametrize(("celsius", "volts"), [(85.0, 8.56), (125.0, 9.63), (-20.0, 5.75)])
def test_pull_in_voltage_rises_with_temperature(celsius: float, volts: float) -> None:
    """6.9 V at 23 degC: the current that pulls in is the same, the resistance is not. A hot relay may not pull in at 8 to 9 V."""
    assert 6.9 * copper_hot_ohm(1.0, celsius) / copper_hot_ohm(1.0, 23.0) == pytest.approx(volts, abs=0.01)


# The same relay, L 0.5 H, 12 V: the coil's current falls from 133.3 mA to 13.33 mA by the closed forms (textbook, worked by hand).
# Diode of 0.7 V: L/R ln((I0 + Vf/R) / (I1 + Vf/R)) = 5.556 ms ln(141.11/21.11). 680 ohm: L/(R + Rp) ln(I0/I1) = 0.649 ms ln 10.
@pytest.mark.parametrize(("suppression", "release_s"), [("diode", 10.554e-3), ("resistor", 1.495e-3), ("none", 0.0)])
def test_a_relay_lets_go_as_late_as_its_suppressor_keeps_the_current(suppression: str, release_s: float) -> None:
    relay = Relay(90.0, 0.5, 6.9, 1.2, 20.0, suppression, 680.0)
    off_s, on_s = 0.2, 0.3
    opened = relay_open(relay, Waveform(np.array([0.0, 1.0]), np.array([12.0, 12.0])), ((off_s, on_s),), 0.5)
    (from_s, to_s), *rest = [stretch for stretch in opened if stretch[0] > 0.0]
    assert from_s - off_s == pytest.approx(release_s, abs=2 * STEP_S)
    # Pull-in: 12 V / R (1 - exp(-t R/L)) reaches 6.9 V / R after L/R ln(12/5.1) = 4.754 ms.
    assert to_s - on_s == pytest.approx(4.754e-3, abs=2 * STEP_S)
    assert rest == []


@pytest.mark.parametrize(("area_mm2", "mohm_per_m"), [(0.8230, 20.95), (2.0809, 8.285), (5.2612, 3.277), (21.151, 0.815)])
def test_copper(area_mm2: float, mohm_per_m: float) -> None:
    """Solid copper at 20 degC, 1.7241e-8 ohm m (from memory; the IEC 60228 rows agree)."""
    assert copper_ohm(1.0, area_mm2) * 1e3 == pytest.approx(mohm_per_m, rel=2e-3)


# Loop resistance of a module's supply from a known load: R = RL (Vbat - Vplug) / Vplug. Method and limit (2.2 ohm for 3 s,
# 50 mOhm at 12 V): 1200F series, electrical and electronic installation manual, p. 36 and 40; the drops follow from the formula, by hand.
@pytest.mark.parametrize(("loop_ohm", "drop_v"), [(0.050, 0.2778), (0.020, 0.1126), (0.100, 0.5435)])
def test_loop_resistance_method(loop_ohm: float, drop_v: float) -> None:
    """12.5 V at the posts, 2.2 ohm at the plug: the judge gets the loop back from the drop."""
    start = Start(noise_v=0.0)
    battery_v = np.where(start.t < KEY_ON_S, start.volts["battery"], np.minimum(start.volts["battery"], 12.5))
    start.volts["module_supply"] = np.where(start.during(KEY_ON_S + 0.5, 2.0), battery_v - drop_v, battery_v)
    judged = judge(start.trace(), shipped(12), Context(cranked_with_key=True, module_plugged_in=True, known_load_ohm=2.2))
    (found,) = [f for f in judged.findings if f.check == "module_supply_loop"]
    assert found.measured == pytest.approx(loop_ohm, abs=3e-4)


# Shipped limits that have a published source agree with it.
@pytest.mark.parametrize(
    ("key", "volts12", "volts24", "source"),
    [
        ("starter_control_drop_fail_v", 1.0, 2.0, "TM 5-2420-230-24-2"),
        ("module_loop_fail_ohm", 0.050, 0.100, "installation manual"),
        ("engine_ground_rise_fail_v", 0.7, 1.4, "TM 5-3895-382-24"),
        ("battery_crank_warn_v", 9.6, 19.2, "TM 10-3930-671-24"),
    ],
)
def test_limits_with_a_source(key: str, volts12: float, volts24: float, source: str) -> None:
    assert shipped(12)[key] == pytest.approx(volts12)
    assert shipped(24)[key] == pytest.approx(volts24)
    assert source in shipped(12).sources[key]


def test_the_two_sources_that_disagree_lead_to_a_warning() -> None:
    """9.6 V floor (TM 10-3930-671-24) against 8 to 10 V typical on a diesel at 10 to 27 degC (TM 5-3895-382-24 Table 29)."""
    start = Start()
    for role in start.volts:
        inside = (start.t >= CRANK_S) & (start.t < RELEASE_S) & (start.volts[role] > 5)
        start.volts[role] = start.volts[role] - 0.7 * inside
    judged = judge(start.trace(), shipped(12), Context(cranked_with_key=True, module_plugged_in=True))
    (crank,) = [f for f in judged.findings if f.check == "battery_crank"]
    assert 8.0 < (crank.measured or 0.0) < 9.6
    assert crank.result == "warn"
    assert judged.verdict == "PASS"


def test_the_step_between_gauges() -> None:
    """ASTM B258: each gauge is 92 ** (1 / 39) = 1.1229322 times as thick as the next."""
    for size in (-3, 0, 10, 23):
        assert awg_diameter_m(size) / awg_diameter_m(size + 1) == pytest.approx(1.1229322, abs=1e-7)
    assert math.isclose(copper_hot_ohm(1.0, 20.0), 1.0)
