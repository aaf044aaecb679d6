"""The notes agree with the builds: every page, table, drawing and list is written again and compared; layouts against the circuit."""

from __future__ import annotations

import csv
import io
import math
import re
from importlib import resources
from pathlib import Path

import pytest
from hardware_notes import bill, builds, draw, make, strip_board, strip_picture, write
from hardware_notes.circuit import BOARD, circuit, nets
from hardware_notes.strip_board import CUTS, LAYOUT, PLACED, WIRES, mistakes

from firstcrank.calibrating import points
from firstcrank.calibrating.fit import fit
from firstcrank.calibrating.points import Point
from firstcrank.calibrating.procedure import expanded_v
from firstcrank.calibration import read_calibration
from firstcrank.converters import CONVERTERS
from firstcrank.divider.pulses import pulses
from firstcrank.divider.stress import stress
from firstcrank.error_terms import CLAMPS, TERMS
from firstcrank_sim.board.firmware_program import load

NOTES = Path(draw.__file__).parent


def test_every_file_is_what_the_builds_give() -> None:
    assert make.differing() == []


@pytest.mark.parametrize("name", [p.name for p in sorted((NOTES / "pages").glob("*.j2"))])
def test_no_number_with_a_unit_stands_in_a_template_uncomputed(name: str) -> None:
    """Outside {{ }} only names of builds, a part's ordinary title and facts of others may stand; those are listed here."""
    text = (NOTES / "pages" / name).read_text("utf-8")
    bare = re.sub(r"\{\{.*?\}\}", "", text, flags=re.DOTALL)
    found = set(
        re.findall(
            r"[-+]?\d[\d,]*(?:\.\d+)?(?: to \d+)? (?:mV|V|kΩ|Ω|mA|µA|A|µs|ms|s|nF|pF|W|kV|kA|K|ppm/K|°C|MHz|mm)(?![\w/])", bare
        )
    )
    named = {
        "12 V",
        "24 V",
        "9 V",
        "3.3 V",
        "-2 V",
        "7 V",
        "2 V",
        "1 kA",
        "1 kV",
        "58 V",
        "1 mA",
        "100 kΩ",
        "25 V",
        "0 to 25 V",
    }
    stated = {
        *("1 MHz", "2.7 V", "2 MHz", "5 V", "24 µs", "70 µs", "125 MHz", "0.84 ms", "1.4 ms", "1 ms"),  # docs/acquisition.md
        *("20 pF", "10 nF", "8 kV", "150 pF", "330 Ω", "30 kΩ", "7.5 kΩ"),  # standards and others' modules
        *("5 s", "5 ms", "4 µs", "60 µs", "4 µs and 60 µs", "10 K", "50 ppm/K", "20 °C", "60 °C", "0 to 40 °C", "40 °C"),
        *("30 mA", "100 mA", "50 to 100 mA", "12 Mbit/s"),
    }
    assert found - named - stated == set()


def test_a_changed_resistor_changes_the_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pages are really computed: another bottom resistor and they differ."""
    before = write.pages()["minimal_build.md"]
    changed = builds.network(7.5e3, 3e3, 6.2e3)
    monkeypatch.setitem(builds.BUILDS, "minimal 12 V", dict.fromkeys(builds.THREE, changed))
    assert write.pages()["minimal_build.md"] != before


@pytest.mark.parametrize(("build", "system_v"), [("minimal 12 V", 12), ("minimal 24 V", 24), ("better 12 V", 12)])
def test_the_shipped_calibrations_are_the_builds(build: str, system_v: int) -> None:
    """Same ratio, offset and filter as the networks: what the nominal file says of the resistors."""
    with resources.as_file(resources.files("firstcrank.data") / f"calibration_minimal_{system_v}v.toml") as path:
        shipped = read_calibration(path)
    for role, network in builds.BUILDS[build].items():
        line = shipped.channel(role)
        assert line.gain_v_per_code == pytest.approx(network.step_v, rel=0.07)  # a share of a load may be taken out
        assert line.offset_v == pytest.approx(network.lowest_v)
        assert line.filter_s == pytest.approx(network.c_filter_f * network.source_ohm)


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
    """Each row of the page is a configuration that the firmware itself takes, and no role of the firmware is left out."""
    text = (NOTES / "better_build.md").read_text("utf-8")
    rows = re.findall(r"\| `(\w+)` \| CH(\d), pin (\d) \| `--lead (\w+)=(\d)` \|", text)
    assert [int(channel) for _, channel, *_ in rows] == list(range(8))
    commands = load("commands")
    for role, channel, pin, lead, number in rows:
        assert (role, channel, int(pin)) == (lead, number, int(channel) + 1)
        body = commands.checked({"channels": [{"role": role, "pin": int(number)}]}, {})
        assert body["channels"] == [{"role": role, "pin": int(number)}]
    assert {role for role, *_ in rows} == set(commands.ROLES) - {"feed_source"}


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


def test_the_calibration_page_states_the_tables_numbers() -> None:
    text = (NOTES / "calibration.md").read_text("utf-8")
    micro = [f"{CLAMPS[name].limit * 1e6:g} µA ({name.upper()})" for name in ("bat54s", "bav199", "1n4148")]
    rp2040, rp2350, mcp3208 = (CONVERTERS[name] for name in ("rp2040", "rp2350", "mcp3208"))
    for stated in (
        *micro,
        f"{TERMS['reference_drift'].limit * 100:g} % of reading",
        f"{TERMS['resistor_tc'].limit * 1e6:g} ppm/K × {TERMS['temperature'].limit:g} K",
        f"{rp2040.residual_code:g} codes rms (RP2350 and MCP3208: {rp2350.residual_code:g})",
        f"{rp2040.sample_f * 1e12:g} pF (MCP3208: {mcp3208.sample_f * 1e12:g} pF), {TERMS['sampled_span'].limit:.0%} of the range".replace(
            "%", " %"
        ),
        f"{rp2040.offset_code:g} codes for the RP2040, {rp2350.offset_code:g} for the RP2350, {mcp3208.offset_code:g} for the MCP3208",
        f"within {points.SPIKE_KEEP_OFF} codes of a wide code",
        f"more than {points.GAIN_APART_REL * 100:g} % (and {points.ZERO_APART_CODE:g} codes)",
        f"at least {points.LEAST_APART_V:g} V apart",
    ):
        assert stated in text, stated
    with resources.as_file(resources.files("firstcrank.data") / "calibration_minimal_12v.toml") as path:
        nominal = read_calibration(path).channel("battery")
    at = {v: Point(v, {"battery": nominal.real_code(v) + 14.0}, {"battery": 0.6}) for v in (0.0, 9.0, 12.9)}
    meter = points.Meter("m", 0.001, 0.002)
    one, two = (
        expanded_v(fit("battery", [at[v] for v in which], meter, nominal).line, 12.0) for which in ((0.0, 12.9), tuple(at))
    )
    assert f"± {one:.2f} V at 12 V with the 12 V values, against ± {two * 1e3:.0f} mV with two" in text
