"""The notes agree with the builds: every page, table, drawing and list is written again and compared; layouts against the circuit."""

from __future__ import annotations

import csv
import io
import math
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from hardware_notes import bill, builds, draw, make, spice, strip_board, strip_picture, write
from hardware_notes.circuit import BOARD, circuit, nets
from hardware_notes.strip_board import CUTS, LAYOUT, PLACED, WIRES, mistakes

from firstcrank.calibration import nominal_channel, read_calibration
from firstcrank.clamps import SILICON_PAIR
from firstcrank.converters import CONVERTERS
from firstcrank.divider import converters as divider_converters
from firstcrank.divider.budget import Parts, budget
from firstcrank.divider.pulses import pulses
from firstcrank.divider.stress import stress
from firstcrank.nominal_files import nominal_file
from firstcrank_sim.board.firmware_program import load

NOTES = Path(draw.__file__).parent


def test_every_file_is_what_the_builds_give() -> None:
    assert make.differing() == []


def test_a_changed_resistor_changes_the_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pages are really computed: another bottom resistor and they differ."""
    before = write.pages()["minimal_build.md"]
    changed = builds.network(7.5e3, 3e3, 6.2e3)
    monkeypatch.setitem(builds.BUILDS, "minimal 12 V", dict.fromkeys(builds.THREE, changed))
    assert write.pages()["minimal_build.md"] != before


SHIPPED = [(build, behind) for build in builds.BUILDS for behind in CONVERTERS]


@pytest.mark.parametrize(("build", "behind"), SHIPPED)
def test_the_shipped_calibrations_are_the_builds(build: str, behind: str) -> None:
    """Gain, offset, filter and leakage are the network's to the last digit, half of its converter's least load taken out."""
    with nominal_file(builds.SYSTEM_V[build], behind) as path:
        shipped = read_calibration(path)
    input_ohm = {"rp2040": 100e3, "rp2350": 100e3, "mcp3208": math.inf}[behind]
    for role, n in builds.BUILDS[build].items():
        line = shipped.channel(role)
        load = (n.source_ohm + 4.7e3) / (n.source_ohm + 4.7e3 + input_ohm)
        assert line.converter == behind
        assert line.gain_v_per_code == pytest.approx(3.3 / 4096 * n.ratio / (1.0 - load / 2.0), rel=1e-12)
        assert line.offset_v == pytest.approx(n.lowest_v, rel=1e-12, abs=1e-12)
        assert line.filter_s == pytest.approx(n.c_filter_f * n.source_ohm, rel=1e-12)
        # Two 1N4148: 25 nA at 25 degC doubling every 10 K, and a pin of 1 uA at 85 degC, both at 40 degC, by hand.
        leaks_v = math.hypot(25e-9 * 2**1.5 * n.r_top_ohm, 1e-6 * 2**-4.5 * (n.r_top_ohm + 4.7e3 * n.ratio)) / math.sqrt(3.0)
        assert line.uncertainty.leakage_v == pytest.approx(leaks_v, rel=1e-12)


@pytest.mark.parametrize(("build", "behind"), SHIPPED)
def test_the_nominal_line_states_what_the_budget_states(build: str, behind: str) -> None:
    """The calibration's uncertainty and the designer's budget of the same input, 40 degC, part by part of what both have."""
    converter = divider_converters.CONVERTERS[behind.upper()]
    with nominal_file(builds.SYSTEM_V[build], behind) as path:
        shipped = read_calibration(path)
    for role, bav in builds.BUILDS[build].items():
        n, line = replace(bav, clamp=SILICON_PAIR), shipped.channel(role)
        u = line.uncertainty
        for clip_v in builds.error_v(build, role):
            stated = {x.what: x.u_v for x in budget(n, Parts(0.01, 0.01, converter=converter), clip_v, 40.0).lines}
            resistors = math.hypot(*(stated.get(f"{which} resistor", 0.0) for which in ("upper", "lower", "lifting")))
            assert math.hypot(u.gain_rel * (clip_v - u.pivot_v), u.offset_v) == pytest.approx(resistors, rel=1e-9), role
            load = stated.get("converter's input resistance, half of it", 0.0)
            shared = math.hypot(u.shared_gain_rel * clip_v, u.shared_slope_rel * (clip_v - u.shared_pivot_v))
            assert shared == pytest.approx(math.hypot(stated["reference"], load), rel=1e-9, abs=1e-12), role
            assert u.shared_offset_v == pytest.approx(stated["converter's offset"], rel=1e-9)
            assert u.steps_v == pytest.approx(
                stated["converter's nonlinearity"], rel=1e-9 if math.isinf(converter.input_ohm) else 0.08
            )
            leaks = math.hypot(stated["clamp's leakage"], stated["pin's leakage"])
            assert (
                u.leakage_v == pytest.approx(leaks, rel=0.03) or u.leakage_v > leaks
            )  # at 0 V one diode has no voltage to leak by


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice here (Debian package ngspice)")
@pytest.mark.parametrize("input_ohm", [math.inf, 100e3])
def test_an_open_input_reads_what_the_page_says(input_ohm: float) -> None:
    """A ground input with nothing on its clip, all three resistors and the one to the pin, solved by ngspice."""
    listed = [p for p in circuit("better 12 V") if p.ref in ("R76", "R77", "R78", "C71")]
    load = [] if math.isinf(input_ohm) else [f"Rin n_pin7 0 {input_ohm:g}"]
    pin_v = spice.steady(listed, {}, ["Vr n_3v3 0 3.3", *load], ["PIN7"])["s_pin7"]
    n = builds.INPUT_GROUND
    assert n.open_pin_v(input_ohm) == pytest.approx(pin_v, rel=1e-6)
    line = nominal_channel(15e3, 62e3, 0.01, r_lift_ohm=22e3, r_series_ohm=4.7e3, input_ohm=input_ohm, converter="mcp3208")
    assert n.open_reads_v(input_ohm) == pytest.approx(float(line.volts(pin_v / 3.3 * 4096)), abs=1e-6)
    if math.isinf(input_ohm):
        assert f"+{n.open_reads_v():.2f} V at the" in (NOTES / "better_build.md").read_text("utf-8")


@pytest.mark.parametrize("build", list(builds.BUILDS))
def test_every_build_survives_every_pulse_listed(build: str) -> None:
    for networks in (builds.BUILDS[build], builds.with_pair(build)):
        for network in set(networks.values()):
            for pulse in pulses(builds.SYSTEM_V[build]):
                assert stress(network, pulse, builds.RATINGS).survives, (build, pulse.name)


@pytest.mark.parametrize("build", ["minimal 12 V", "minimal 24 V"])
def test_a_bare_wire_behind_the_boot_on_the_battery_does_not_take_the_board(build: str) -> None:
    """R15 alone: battery reversed, jump start and load dumps are stood; a coil's kick is not, and the page says so."""
    names = {
        p.name
        for p in pulses(builds.SYSTEM_V[build])
        if stress(builds.behind_boot(build, "battery"), p, builds.RATINGS).survives
    }
    assert {"reverse battery", "jump start", "load dump, suppressed"} <= names
    assert "coil's kick, 1000 V" not in names


def test_the_pin_tables_use_the_firmwares_names() -> None:
    """Each row of the page is a configuration that the firmware itself takes, and no input of the build is left out."""
    text = (NOTES / "better_build.md").read_text("utf-8")
    rows = re.findall(r"\| `(\w+)` \| CH(\d), pin (\d) \| `--lead (\w+)=(\d)` \|", text)
    assert [int(channel) for _, channel, *_ in rows] == list(range(8))
    commands = load("commands")
    for role, channel, pin, lead, number in rows:
        assert (role, channel, int(pin)) == (lead, number, int(channel) + 1)
        body = commands.checked({"channels": [{"role": role, "pin": int(number)}]}, {})
        assert body["channels"] == [{"role": role, "pin": int(number)}]
    assert [role for role, *_ in rows] == list(builds.BUILDS["better 12 V"])


@pytest.mark.parametrize("pair", [False, True])
@pytest.mark.parametrize("build", list(builds.BUILDS))
def test_the_bill_orders_every_part_once(build: str, pair: bool) -> None:
    rows = list(csv.DictReader(io.StringIO(bill.csv_text(build, pair))))
    listed = [ref for row in rows for ref in row["designators"].split()]
    assert sorted(listed) == sorted(p.ref for p in circuit(build, pair))
    assert all(int(row["quantity"]) == len(row["designators"].split()) for row in rows if row["designators"])
    assert all(row["description"] and row["each_eur"] for row in rows)


def test_designators_are_unique_and_no_net_ends_nowhere() -> None:
    for build in builds.BUILDS:
        parts = circuit(build)
        assert len({p.ref for p in parts}) == len(parts)
        alone = [net for net, pins in nets(parts).items() if len(pins) < 2 and not net.startswith("CLIP")]
        assert alone == []


@pytest.mark.parametrize("build", ["minimal 12 V", "minimal 24 V"])
def test_the_strip_board_is_the_circuit(build: str) -> None:
    assert mistakes(LAYOUT, build) == []
    assert {p.ref for p in circuit(build, clamp_pair=True) if p.place == BOARD} == set(PLACED)


@pytest.mark.parametrize("cut", CUTS)
def test_every_missing_cut_is_found(cut: tuple[int, int]) -> None:
    assert mistakes(strip_board.without_cut(LAYOUT, cut))


# Rows 13 and 14 are one net, AGND: a leg moved between them is as right as before.
SAME_NET = {13, 14}
LEGS = [(ref, pin, step) for ref, pins in PLACED.items() if ref != "U1" for pin in pins for step in (-1, 1)]


@pytest.mark.parametrize(("ref", "pin", "step"), LEGS)
def test_every_moved_leg_is_found(ref: str, pin: str, step: int) -> None:
    row = PLACED[ref][pin][0]
    same = {row, row + step} == SAME_NET
    assert mistakes(strip_board.moved_leg(LAYOUT, ref, pin, step)) or same


@pytest.mark.parametrize(("wire", "end", "step"), [(w, e, s) for w in range(len(WIRES)) for e in (0, 1) for s in (-1, 1)])
def test_every_moved_wire_is_found(wire: int, end: int, step: int) -> None:
    row = WIRES[wire][end][0]
    same = {row, row + step} == SAME_NET and wire != 2
    assert mistakes(strip_board.moved_wire(LAYOUT, wire, end, step)) or same


# IEC 60062 colours: 4.7 kΩ 1 % yellow violet black brown brown; 470 Ω yellow violet black black brown; 6.8 kΩ blue grey black brown.
@pytest.mark.parametrize(
    ("ohm", "digits"), [(4.7e3, "47011"), (470.0, "47001"), (6.8e3, "68011"), (7.5e3, "75011"), (22e3, "22021")]
)
def test_the_rings_painted_are_the_values(ohm: float, digits: str) -> None:
    assert strip_picture.rings(ohm) == [strip_picture.RINGS[int(d)] for d in digits]


def test_drawings_stand_on_white() -> None:
    for path in NOTES.glob("*.svg"):
        text = path.read_text("utf-8")
        assert re.search(r'(fill|background-color)\s*[:=]\s*"?(#fff|white)', text), path.name
    assert math.isclose(builds.RATINGS.working_v, 350.0)
