"""The input designer against worked figures, PyPI eseries and uncertainties, and ngspice transients of the same network."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from pathlib import Path

import eseries
import pytest
from uncertainties import ufloat

from firstcrank.divider.budget import Parts, budget, loaded_reading_rel, noise_free_bits, worst_ratio
from firstcrank.divider.network import CLAMP_V, SETTLE_TAUS, Network
from firstcrank.divider.stress import PULSES_12V, Pulse, peak_clamp_a, peak_node_v

CHECKED = Network(100e3, 22e3, 10e-9)


def test_worked_example_100k_over_22k() -> None:
    """Recomputed with PyPI uncertainties: ratio 5.545455, full scale 18.300 V, Rth 18.0328 k, u 80.31 mV at 12 V."""
    assert CHECKED.ratio == pytest.approx(5.545455, rel=1e-6)
    assert CHECKED.full_scale_v == pytest.approx(18.300, abs=5e-4)
    assert CHECKED.source_ohm == pytest.approx(18032.8, abs=0.1)
    resistors = Parts(0.01, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    steps_v = CHECKED.step_v / math.sqrt(12.0)
    assert math.sqrt(budget(CHECKED, resistors, 12.0).u_v ** 2 - steps_v**2) == pytest.approx(80.31e-3, rel=1e-3)
    low, high = worst_ratio(CHECKED, 0.01)
    assert (low - 1.0, high - 1.0) == pytest.approx((-0.016231, 0.016559), abs=2e-6)


def test_loading_by_100k() -> None:
    """18.03 k against 100 k reads 15.28 % low: V-calc of the same example."""
    assert loaded_reading_rel(CHECKED) == pytest.approx(-0.1528, abs=1e-4)


def test_steps() -> None:
    """3.3 V / 4096 = 0.80566 mV, times the ratio 4.4678 mV, / sqrt(12) 1.2897 mV."""
    assert CHECKED.step_v == pytest.approx(4.4678e-3, rel=1e-4)
    assert CHECKED.step_v / math.sqrt(12) == pytest.approx(1.2897e-3, rel=1e-4)


def test_settling_and_corner() -> None:
    """ln(2^13) = 9.01 time constants to half a step of 12 bits; with 10 nF tau 0.18033 ms, corner 882.59 Hz, 1.625 ms."""
    assert pytest.approx(9.01, abs=0.005) == SETTLE_TAUS
    assert CHECKED.tau_s == pytest.approx(0.18033e-3, rel=1e-4)
    assert CHECKED.corner_hz == pytest.approx(882.59, rel=1e-4)
    assert CHECKED.settling_s == pytest.approx(1.625e-3, rel=1e-3)
    large = Network(100e3, 22e3, 100e-9)
    assert (large.corner_hz, large.settling_s) == pytest.approx((88.259, 16.249e-3), rel=1e-3)


def test_shortest_dropout_of_18k_and_10n_is_64_us() -> None:
    """tau ln(10/7): the closed form of an RC discharge."""
    assert CHECKED.shortest_dropout_s(10.0, 7.0) == pytest.approx(64.3e-6, rel=1e-2)


# Net clamp current (V - 3.6) / R1 - 3.6 / R2 of the same divider, from the closed form.
@pytest.mark.parametrize(
    ("clip_v", "milliamps"), [(24.0, 0.040), (35.0, 0.150), (101.0, 0.810), (-14.0, -0.123), (-150.0, -1.48)]
)
def test_clamp_current(clip_v: float, milliamps: float) -> None:
    assert CHECKED.clamp_a(clip_v) * 1e3 == pytest.approx(milliamps, abs=6e-3)


@pytest.mark.parametrize(("top", "bottom", "tolerance"), [(47e3, 10e3, 0.01), (33e3, 6.8e3, 0.001), (100e3, 22e3, 0.05)])
def test_budget_against_uncertainties(top: float, bottom: float, tolerance: float) -> None:
    r1, r2 = (ufloat(r, r * tolerance / 3**0.5) for r in (top, bottom))
    clip_v = 12.0
    reading = clip_v * bottom / (top + bottom) * ((r1 + r2) / r2) * ufloat(1.0, 0.01 / 3**0.5)
    ours = budget(Network(top, bottom), Parts(tolerance, 0.01, 0.0, 0.0, 0.0, 0.0, 0.0), clip_v)
    assert math.sqrt(ours.u_v**2 - (Network(top, bottom).step_v ** 2) / 12) == pytest.approx(reading.std_dev, rel=1e-3)


def test_effective_bits() -> None:
    """A 12-bit converter with only its steps has 12 effective bits; 2.845 codes rms is 8.7 (the RP2040 datasheet's figure)."""
    assert noise_free_bits(1.0 / math.sqrt(12.0)) == pytest.approx(12.0)
    assert noise_free_bits(2.845) == pytest.approx(8.7, abs=0.05)


@pytest.mark.parametrize(("series", "value", "nearest"), [(eseries.E24, 3190.0, 3300.0), (eseries.E96, 3190.0, 3160.0)])
def test_preferred_values(series: object, value: float, nearest: float) -> None:
    """IEC 60063 through PyPI eseries, its documented examples."""
    assert eseries.find_nearest(series, value) == nearest


NETLIST = """input network
V1 in 0 PWL(0 0 {edge} {volts} {end} {volts} {after} 0)
Rs in clip {source}
R1 clip node {top}
R2 node 0 {bottom}
{up}
C1 node 0 {cap}
B1 node 0 I=max(v(node)-({high}),0)
B2 node 0 I=min(v(node)-({low}),0)
.options method=gear reltol=1e-5
.control
tran {step} {stop}
meas tran vend find v(node) at={end}
.endc
.end
"""


def spice(folder: Path, network: Network, pulse: Pulse) -> dict[str, float]:
    """The network in ngspice: a fast edge, the pulse, clamps of 1 ohm beyond the reference + 0.3 V and - 0.3 V."""
    if shutil.which("ngspice") is None:
        pytest.skip("no ngspice here (Debian package ngspice)")
    length = min(pulse.duration_s, 20 * max(network.tau_s, 1e-6))
    up = f"VR ref 0 {network.reference_v}\nR4 ref node {network.r_up_ohm}" if network.r_up_ohm else ""
    text = NETLIST.format(
        edge=length / 1000,
        volts=pulse.volts,
        end=length,
        after=length * 1.001,
        source=max(pulse.source_ohm, 1e-3),
        top=network.r_top_ohm,
        bottom=network.r_bottom_ohm,
        up=up,
        cap=max(network.c_filter_f, 1e-15),
        high=network.reference_v + CLAMP_V,
        low=-CLAMP_V,
        step=length / 20000,
        stop=length * 1.2,
    )
    file = folder / "net.cir"
    file.write_text(text)
    done = subprocess.run(["ngspice", "-b", str(file)], capture_output=True, text=True, timeout=60)
    found = dict(re.findall(r"^(\w+)\s*=\s*([-+.\deE]+)", done.stdout, re.MULTILINE))
    return {name: float(value) for name, value in found.items()}


@pytest.mark.parametrize("network", [Network(33e3, 6.8e3, 10e-9), Network(100e3, 22e3, 10e-9), Network(47e3, 10e3, 1e-9)])
@pytest.mark.parametrize("pulse", [p for p in PULSES_12V if "7637" in p.name or "dump" in p.name], ids=lambda p: p.name)
def test_peaks_agree_with_ngspice_within_one_percent(tmp_path: Path, network: Network, pulse: Pulse) -> None:
    found = spice(tmp_path, network, pulse)
    ours_v, ours_a = peak_node_v(network, pulse), peak_clamp_a(network, pulse)
    reached_v = found[
        "vend"
    ]  # the node only rises (or falls) during the pulse; its own maximum would show the solver's overshoot
    clamp_v = network.reference_v + CLAMP_V if pulse.volts > 0 else -CLAMP_V
    beyond_v = max(reached_v - clamp_v, 0.0) if pulse.volts > 0 else min(reached_v - clamp_v, 0.0)
    assert reached_v - beyond_v == pytest.approx(ours_v, rel=0.01, abs=2e-3)
    assert beyond_v / 1.0 == pytest.approx(ours_a, rel=0.01, abs=1e-6)


def test_settling_agrees_with_ngspice_within_one_percent(tmp_path: Path) -> None:
    """Time from a 1 V step to within half a step of 12 bits of its end."""
    if shutil.which("ngspice") is None:
        pytest.skip("no ngspice here (Debian package ngspice)")
    n = CHECKED
    end_v = n.node_v(1.0)
    text = f"""settling
V1 in 0 PULSE(0 1 0 1n 1n 1 2)
R1 in node {n.r_top_ohm}
R2 node 0 {n.r_bottom_ohm}
C1 node 0 {n.c_filter_f}
.options reltol=1e-7
.control
tran 1u 3m
meas tran settled when v(node)={end_v * (1 - 1 / 2**13)}
.endc
.end
"""
    (tmp_path / "s.cir").write_text(text)
    done = subprocess.run(["ngspice", "-b", str(tmp_path / "s.cir")], capture_output=True, text=True, timeout=60)
    settled_s = float(re.search(r"settled\s*=\s*([-+.\deE]+)", done.stdout)[1])  # type: ignore[index]
    assert settled_s == pytest.approx(n.settling_s, rel=0.01)
