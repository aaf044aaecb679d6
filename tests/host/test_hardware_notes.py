"""The notes agree with the designer: tables recomputed, pictures redrawn, shipped calibration the same network."""

from __future__ import annotations

import math
from importlib import resources
from pathlib import Path

import pytest
from hardware_notes import builds, draw

from firstcrank.calibrating import points
from firstcrank.calibrating.fit import fit
from firstcrank.calibrating.points import Point
from firstcrank.calibrating.procedure import expanded_v
from firstcrank.calibration import nominal_channel, read_calibration
from firstcrank.converters import CONVERTERS
from firstcrank.divider.propose import MUST_SURVIVE
from firstcrank.divider.stress import Ratings, pulses, stress
from firstcrank.error_terms import CLAMPS, TERMS

NOTES = Path(draw.__file__).parent


@pytest.mark.parametrize(
    ("page", "build", "role"),
    [
        ("minimal_build.md", "minimal 12 V", "battery"),
        ("minimal_build.md", "minimal 24 V", "battery"),
        ("better_build.md", "better 12 V", "battery"),
        ("better_build.md", "better 12 V", "module_ground"),
    ],
)
def test_the_tables_are_what_the_designer_computes(page: str, build: str, role: str) -> None:
    assert builds.table(build, role) in (NOTES / page).read_text("utf-8")


def test_the_pictures_are_what_the_code_draws(tmp_path: Path) -> None:
    draw.draw_all(tmp_path)
    drawn = sorted(p.name for p in tmp_path.glob("*.svg"))
    assert drawn == sorted(p.name for p in NOTES.glob("*.svg"))
    for name in drawn:
        assert (tmp_path / name).read_text("utf-8") == (NOTES / name).read_text("utf-8"), name


@pytest.mark.parametrize(("build", "system_v"), [("minimal 12 V", 12), ("minimal 24 V", 24), ("better 12 V", 12)])
def test_the_shipped_calibrations_are_the_builds(build: str, system_v: int) -> None:
    with resources.as_file(resources.files("firstcrank.data") / f"calibration_minimal_{system_v}v.toml") as path:
        shipped = read_calibration(path)
    for role, network in builds.BUILDS[build].items():
        made = nominal_channel(
            network.r_top_ohm,
            network.r_bottom_ohm,
            builds.TOLERANCE,
            filter_f=network.c_filter_f,
            input_ohm=100e3,
            r_lift_ohm=network.r_up_ohm or math.inf,
        )
        assert shipped.channel(role) == made
        assert made.offset_v == pytest.approx(network.lowest_v)
        assert made.filter_s == pytest.approx(network.c_filter_f * network.source_ohm)


@pytest.mark.parametrize("build", list(builds.BUILDS))
def test_every_build_survives_what_it_must(build: str) -> None:
    system_v = 24 if "24" in build else 12
    for network in builds.BUILDS[build].values():
        for pulse in pulses(system_v):
            if pulse.name in MUST_SURVIVE:
                assert stress(network, pulse, Ratings()).survives, (build, pulse.name)


def test_the_pin_tables_use_the_firmwares_names() -> None:
    from firstcrank.trace import ROLES

    text = (NOTES / "better_build.md").read_text("utf-8")
    assert all(f"`{role}`" in text for role in ROLES if role != "feed_source")


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
