"""The error tables of the notes: the budget's law against random boards solved node by node, and against ngspice at the corners."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace

import numpy as np
import pytest
from hardware_notes import builds, spice
from hardware_notes.circuit import circuit

from firstcrank.clamps import BAV199
from firstcrank.converters import as_given, evened
from firstcrank.divider.budget import METERS, Meter, Parts, budget, calibrated_budget
from firstcrank.divider.network import CODES, Network
from firstcrank.divider.transfer import actual, nominal_volts

DRAWS = 20_000
CASES = [pytest.param(t, id=t.title) for t in builds.ERROR_TABLES]
FROM_ZERO = [pytest.param(t, id=t.title) for t in builds.ERROR_TABLES if not builds.BUILDS[t.build][t.role].r_up_ohm]
Array = np.ndarray


class Boards:
    """Many boards of one build: every part drawn within its limits. Node and pin solved together, nothing linearised."""

    def __init__(self, network: Network, parts: Parts, count: int, rng: np.random.Generator) -> None:
        self.n, self.parts, self.count, self.rng = network, parts, count, rng
        self.top = network.r_top_ohm * self.off(parts.resistor_rel)
        self.bottom = network.r_bottom_ohm * self.off(parts.resistor_rel)
        self.up = network.r_up_ohm * self.off(parts.resistor_rel) if network.r_up_ohm else np.full(count, math.inf)
        self.reference = network.reference_v * self.off(parts.reference_rel)
        self.per_k = [rng.uniform(-1, 1, count) * parts.ppm_per_k * 1e-6 for _ in range(3)]
        self.reference_per_k = rng.uniform(-1, 1, count) * parts.reference_ppm_per_k * 1e-6
        self.offset_code = rng.uniform(-1, 1, count) * parts.converter.offset_code
        load = 0.0 if math.isinf(parts.converter.input_ohm) else self.load_share()
        self.load_rel = rng.uniform(0, 1, count) * load
        self.leaky, self.pin_leaky = rng.uniform(-1, 1, count), rng.uniform(-1, 1, count)

    def load_share(self) -> float:
        """Largest share lost in the converter's input resistance."""
        ohm = self.n.source_ohm + self.n.r_series_ohm
        return ohm / (ohm + self.parts.converter.input_ohm)

    def off(self, limit_rel: float) -> Array:
        return 1.0 + limit_rel * self.rng.uniform(-1, 1, self.count)

    def codes(
        self, clip_v: Array, celsius: Array, kelvin_from_c: float, inl: str, averaged: int, carried: bool = True
    ) -> Array:
        """Codes at a voltage and temperature. `inl` "steps": the RP2040's wide codes; "spread": anywhere within the limit."""
        n, c, rng = self.n, self.parts.converter, self.rng
        dt = celsius - kelvin_from_c
        top, bottom, up = (r * (1 + k * dt) for r, k in zip((self.top, self.bottom, self.up), self.per_k, strict=True))
        drift = 1 + self.reference_per_k * dt + self.parts.reference_drift_rel * rng.uniform(-1, 1, self.count)
        reference = self.reference * drift
        assert n.clamp is not None
        most = np.array([n.clamp.leaks_a(float(t)) for t in np.broadcast_to(celsius, self.count)])
        pin_most = np.array([c.pin_leaks_a(float(t)) for t in np.broadcast_to(celsius, self.count)])
        siemens = 1 / top + 1 / bottom + 1 / up
        node = (clip_v / top + reference / up + self.leaky * most) / siemens
        pin = node - self.pin_leaky * pin_most * (1 / siemens + n.r_series_ohm)
        pin = pin * (1 - self.load_rel)
        if carried:
            farther_v = np.maximum(np.abs(clip_v), np.abs(self.parts.other_lead_v - clip_v)) * n.share
            pin = pin + c.sample_f * c.rate_hz * n.source_ohm * farther_v * rng.uniform(-1, 1, self.count)
        code = pin / reference * CODES + self.offset_code
        code = code + c.inl_code * rng.uniform(-1, 1, self.count)
        code = code + c.noise_code / math.sqrt(averaged) * rng.standard_normal(self.count)
        if inl == "steps":  # through the wide codes and out again, as the host does
            return evened(c.name.lower(), as_given(c.name.lower(), code))
        return np.asarray(np.rint(code) if averaged == 1 else code)


@pytest.mark.parametrize("of", CASES)
@pytest.mark.parametrize("celsius", builds.ERROR_C)
def test_uncalibrated_law_against_random_boards(of: builds.ErrorTable, celsius: float) -> None:
    """The stated 95 % holds 93 to 99.5 % of them, and the standard uncertainty is theirs within 6 %."""
    network, parts = builds.BUILDS[of.build][of.role], of.parts
    rng = np.random.default_rng(2)
    for clip_v in builds.error_v(of.build, of.role):
        boards = Boards(network, parts, DRAWS, rng)
        codes = boards.codes(np.full(DRAWS, clip_v), np.full(DRAWS, celsius), 25.0, "spread", 1)
        half = boards.load_share() / 2 / (1 - boards.load_share() / 2) if boards.load_rel.any() else 0.0
        off = nominal_volts(network, 1.0) - nominal_volts(network, 0.0)
        read = codes * off * (1 + half) - network.node_at_zero_v * network.ratio
        stated = budget(network, parts, clip_v, celsius)
        assert float(np.std(read - clip_v)) == pytest.approx(stated.u_v, rel=0.06), clip_v
        held = float(np.mean(np.abs(read - clip_v) <= stated.expanded_v))
        assert 0.93 <= held <= 1.0, (clip_v, held)


BUILDS_DRAWN = 1000


@pytest.mark.parametrize("of", FROM_ZERO)
@pytest.mark.parametrize("name", list(METERS))
def test_calibrated_coverage_of_a_thousand_builds_from_0_to_40_degc(of: builds.ErrorTable, name: str) -> None:
    """Straight line through 0 V, 9 V and 12.6 V (24 V builds twice that) at 20 degC, then any voltage from 3 to 14 V: 93 to 99 %."""
    network, parts, meter = builds.BUILDS[of.build][of.role], of.parts, METERS[name]
    scale = builds.SYSTEM_V[of.build] / 12
    rng = np.random.default_rng(11)
    boards = Boards(network, parts, BUILDS_DRAWN, rng)
    rel = rng.uniform(-1, 1, BUILDS_DRAWN) * meter.rel
    given, seen = [], []
    for point_v in (0.0, 9.0 * scale, 12.6 * scale):
        given.append(point_v * (1 + rel) + (rng.uniform(-1, 1, BUILDS_DRAWN) * meter.volts if point_v else 0.0))
        at = np.full(BUILDS_DRAWN, point_v)
        seen.append(boards.codes(at, np.full(BUILDS_DRAWN, 20.0), 20.0, "steps", 256, carried=False))
    x, y = np.array(seen), np.array(given)
    gain = ((x - x.mean(0)) * (y - y.mean(0))).sum(0) / ((x - x.mean(0)) ** 2).sum(0)
    offset_v = y.mean(0) - gain * x.mean(0)
    inside = []
    for _ in range(4):
        clip_v, celsius = rng.uniform(3.0, 14.0, BUILDS_DRAWN) * scale, rng.uniform(0.0, 40.0, BUILDS_DRAWN)
        read = boards.codes(clip_v, celsius, 20.0, "steps", 16) * gain + offset_v
        stated = [calibrated_budget(network, parts, v, t, meter).expanded_v for v, t in zip(clip_v, celsius, strict=True)]
        inside.append(float(np.mean(np.abs(read - clip_v) <= stated)))
    print(f"{of.title}, {name}: {np.mean(inside):.1%} inside")
    assert 0.93 <= float(np.mean(inside)) <= 0.99


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice here (Debian package ngspice)")
@pytest.mark.parametrize("of", CASES)
@pytest.mark.parametrize("celsius", builds.ERROR_C)
def test_corner_errors_agree_with_ngspice_within_one_percent(of: builds.ErrorTable, celsius: float) -> None:
    """Resistors at opposite ends, rail off, clamp and pin leaking their most, the converter loading the pin."""
    network, parts, build = builds.BUILDS[of.build][of.role], of.parts, of.build
    lead = list(builds.BUILDS[build]).index(of.role) + 1
    assert network.clamp is BAV199
    leak_a, pin_a = network.clamp.leaks_a(celsius), parts.converter.pin_leaks_a(celsius)
    rail_v = 3.3 * 1.01
    chain = {f"R{lead}{k}" for k in range(1, 6)}
    listed = [p for p in circuit(build) if p.ref[1:2] == str(lead) and len(p.ref) == 3 and p.kind in "RC"]
    off = {p.ref: (1.01 if p.ref in chain else 0.99) for p in listed}
    off[f"R{lead}7"] = 1.0
    real = [replace(p, ohm=p.ohm * off[p.ref]) for p in listed]
    load = [] if math.isinf(parts.converter.input_ohm) else [f"Rin n_pin{lead} 0 {parts.converter.input_ohm:g}"]
    extra = [f"Vr n_3v3 0 {rail_v}", f"Il 0 n_node{lead} {leak_a:.6g}", f"Ip n_pin{lead} 0 {pin_a:.6g}", *load]
    ours = actual(
        network,
        r_top_ohm=network.r_top_ohm * 1.01,
        r_bottom_ohm=network.r_bottom_ohm * 0.99,
        r_up_ohm=network.r_up_ohm * 0.99,
        reference_v=rail_v,
        leak_a=leak_a,
        pin_leak_a=pin_a,
        input_ohm=parts.converter.input_ohm,
    )
    for clip_v in builds.error_v(build, of.role):
        found = spice.steady(real, {lead: clip_v}, extra, [f"PIN{lead}"])[f"s_pin{lead}"]
        error_v = nominal_volts(network, found / rail_v * CODES) - clip_v
        assert nominal_volts(network, ours.code(clip_v)) - clip_v == pytest.approx(error_v, rel=0.01, abs=1e-4), clip_v


def test_the_clamps_leakage_decides_which_one() -> None:
    """At 60 degC a Schottky pair is off by volts' worth where the silicon pairs stay below 10 mV (100 k: 30 mV)."""
    worst = {}
    for clamp in builds.CLAMPS_COMPARED:
        network = replace(builds.INPUT_12V, clamp=clamp)
        lines = calibrated_budget(network, Parts(), 7.0, 60.0, Meter(0.0, 0.0)).lines
        worst[clamp.name] = next(line.limit_v for line in lines if line.what == "clamp's leakage")
    assert worst["BAV199"] < 0.002 < worst["two 1N4148"] < 0.010 < 0.5 < worst["BAT54S"]
