"""What a user must be able to rely on, one start and one expected answer at a time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.model.judgement import Judgement
from firstcrank.trace import Hole

from .start import BIN_S, CRANK_S, KEY_ON_S, RELEASE_S, TURN_S, Start

ASKED = Context(cranked_with_key=True, module_plugged_in=True)


def verdict(start: Start, context: Context = ASKED, system_v: int = 12, **trace: object) -> Judgement:
    return judge(start.trace(**trace), shipped(system_v), context)  # type: ignore[arg-type]


def all_text(judgement: Judgement) -> str:
    """Everything a user would read, for a look at the words."""
    findings = " ".join(f.reason for f in judgement.findings)
    causes = " ".join(f"{c.evidence} {c.next_check}" for c in judgement.likely_causes)
    return " ".join((*judgement.reasons, findings, causes, judgement.next_check, *judgement.assumptions)).lower()


def test_a_healthy_start_passes_and_says_what_it_did_not_measure() -> None:
    judgement = verdict(Start())
    assert judgement.verdict == "PASS", judgement.reasons
    assert judgement.not_measured
    assert len(judgement.cranks) == 1
    assert judgement.cranks[0].start_s == pytest.approx(CRANK_S, abs=0.08)
    assert judgement.cranks[0].end_s == pytest.approx(RELEASE_S, abs=0.08)


@pytest.mark.parametrize("low_v", [0.0, 3.0, 6.5])
@pytest.mark.parametrize("duration_s", [0.0012, 0.005, 0.05, 0.6])
@pytest.mark.parametrize("at_s", [6.0, 8.5])
def test_a_dropout_while_cranking_fails_with_its_time_and_length(low_v: float, duration_s: float, at_s: float) -> None:
    judgement = verdict(Start().feed_to(low_v, at_s, duration_s))
    assert judgement.verdict == "FAIL", judgement.reasons
    (dropout,) = [d for d in judgement.dropouts if d.counts]
    assert dropout.phase == "crank"
    assert dropout.start_s == pytest.approx(at_s, abs=BIN_S)
    assert dropout.duration_s == pytest.approx(duration_s, abs=BIN_S)
    assert dropout.duration_low_s <= duration_s <= dropout.duration_high_s
    assert dropout.lowest_v == pytest.approx(low_v, abs=0.05)


def test_a_dropout_shorter_than_counts_is_shown_and_does_not_fail() -> None:
    judgement = verdict(Start().feed_to(0.0, 7.0, 0.0003))
    assert judgement.verdict != "FAIL"
    assert any(not d.counts and d.start_s == pytest.approx(7.0, abs=BIN_S) for d in judgement.dropouts)
    assert any(f.check.startswith("key_feed_dropout") and f.result == "warn" for f in judgement.findings)


def test_two_spikes_in_neighbouring_bins_are_not_one_long_dropout() -> None:
    judgement = verdict(Start().feed_to(0.0, 7.0, 5e-5).feed_to(0.0, 7.0 + 1.3 * BIN_S, 5e-5))
    assert judgement.verdict != "FAIL", judgement.reasons


def test_the_trap_live_in_run_dead_in_start() -> None:
    judgement = verdict(Start().feed_to(0.0, TURN_S + 0.05, RELEASE_S - TURN_S))
    assert judgement.verdict == "FAIL"
    assert any("start" in reason.lower() for reason in judgement.reasons)
    assert "to the start terminal" not in all_text(judgement).replace("do not move the feed to the start terminal", "")


@pytest.mark.parametrize("at_s", [TURN_S + 0.01, RELEASE_S + 0.02])
def test_one_short_bounce_while_the_key_turns_warns_a_long_one_fails(at_s: float) -> None:
    assert verdict(Start().feed_to(0.0, at_s, 0.004)).verdict != "FAIL"
    assert verdict(Start().feed_to(0.0, at_s, 0.030)).verdict == "FAIL"


def test_a_steady_drop_fails_above_the_limit_and_warns_below() -> None:
    def drop(v: float) -> Start:
        return Start().change("key_switch", lambda t, f: np.where(f > 1, f - v, f))

    assert verdict(drop(1.4)).verdict == "FAIL"
    warned = verdict(drop(0.6))
    assert warned.verdict != "FAIL"
    assert any(f.check.startswith("key_feed_drop_steady") and f.result == "warn" for f in warned.findings)


def test_a_drop_exactly_at_the_limit_is_never_a_pass() -> None:
    judgement = verdict(Start().change("key_switch", lambda t, f: np.where(f > 1, f - 0.88, f)))
    assert judgement.verdict == "NO VERDICT", judgement.reasons


def test_the_end_of_the_key_is_not_a_dropout() -> None:
    judgement = verdict(Start(end_s=14.0).feed_to(0.0, 12.5, 9.0))
    assert judgement.verdict == "PASS", judgement.reasons


def test_a_weak_battery_is_named_as_the_supply_and_not_as_the_feed() -> None:
    def sag(t: np.ndarray, b: np.ndarray) -> np.ndarray:
        return np.where((t >= CRANK_S) & (t < RELEASE_S), b - 4.2, b)

    start = Start().change("battery", sag).change("key_switch", sag).change("starter_coil", sag)
    judgement = verdict(start)
    assert judgement.verdict == "FAIL"
    assert "battery" in " ".join(judgement.reasons).lower()
    assert "follow" in all_text(judgement)


def test_a_battery_at_nine_volts_only_warns() -> None:
    def sag(t: np.ndarray, b: np.ndarray) -> np.ndarray:
        return np.where((t >= CRANK_S) & (t < RELEASE_S), b - 0.75, b)

    start = Start().change("battery", sag).change("key_switch", sag).change("starter_coil", sag)
    judgement = verdict(start)
    assert judgement.verdict == "PASS", judgement.reasons
    assert any(f.check.startswith("battery_crank") and f.result == "warn" for f in judgement.findings)


def test_chatter_of_short_dropouts_is_not_passed() -> None:
    start = Start()
    for i in range(12):
        start.feed_to(0.0, 6.0 + 0.1 * i, 0.0008)
    assert verdict(start).verdict == "FAIL"


# --- NO VERDICT: the evidence is missing ---------------------------------------------------------------


def no_crank() -> Start:
    start = Start()
    start.volts["battery"] = np.full_like(start.t, 12.6)
    start.volts["starter_coil"] = np.zeros_like(start.t)
    return start.change("key_switch", lambda t, f: np.where(t >= KEY_ON_S, 12.5, 0.0))


def heater_sag() -> Start:
    start = no_crank()
    dip = np.where((start.t > 5) & (start.t < 8), 2.0, 0.0)
    start.volts["battery"] = start.volts["battery"] - dip
    start.volts["key_switch"] = np.where(start.t >= KEY_ON_S, start.volts["battery"] - 0.1, 0.0)
    return start


@pytest.mark.parametrize(
    ("start", "expected"),
    [
        pytest.param(no_crank(), "crank", id="no crank"),
        pytest.param(heater_sag(), "crank", id="a heater's sag is not a crank"),
        pytest.param(Start(release_s=6.0), "short", id="crank too short"),
        pytest.param(Start().change("key_switch", lambda t, f: Start().volts["battery"] - 0.1), "off", id="never off"),
        pytest.param(Start().change("key_switch", lambda t, f: f * 0), "", id="never live"),
        pytest.param(Start().feed_to(0.0, 7.0, 99.0), "", id="gone and never back"),
        pytest.param(
            Start().change("key_switch", lambda t, f: np.where(t < TURN_S, 0.0, f)), "do on", id="one sweep OFF to START"
        ),
        pytest.param(Start(end_s=9.5), "", id="stopped before two seconds after the release"),
    ],
)
def test_missing_evidence_is_no_verdict_with_a_reason(start: Start, expected: str) -> None:
    judgement = verdict(start)
    assert judgement.verdict == "NO VERDICT", judgement.reasons
    assert judgement.reasons
    assert expected in " ".join(judgement.reasons).lower()


def test_live_only_while_cranking_is_the_start_terminal() -> None:
    judgement = verdict(Start().change("key_switch", lambda t, f: np.where((t > TURN_S) & (t < RELEASE_S), f, 0.0)))
    assert judgement.verdict == "FAIL"
    assert "start" in " ".join(judgement.reasons).lower()


@pytest.mark.parametrize(
    "context",
    [Context(cranked_with_key=False, module_plugged_in=True), Context(cranked_with_key=True, module_plugged_in=False)],
)
def test_a_remote_switch_or_an_unplugged_module_never_passes(context: Context) -> None:
    assert verdict(Start(), context).verdict == "NO VERDICT"


def test_unasked_answers_are_stated_as_assumptions() -> None:
    assert len(verdict(Start(), Context()).assumptions) >= 2


@pytest.mark.parametrize(("start_s", "end_s"), [(7.0, 7.01), (7.0, 7.0016), (TURN_S + 0.02, TURN_S + 0.03)])
def test_a_hole_inside_never_passes(start_s: float, end_s: float) -> None:
    judgement = verdict(Start(), holes=(Hole(start_s, end_s, "the link lost bins"),))
    assert judgement.verdict == "NO VERDICT"


def test_an_incomplete_recording_cut_in_the_crank_never_passes() -> None:
    assert verdict(Start(end_s=7.0), complete=False).verdict == "NO VERDICT"


def test_a_dropout_beside_a_hole_still_fails() -> None:
    """A missing stretch takes a PASS away, never a fault that was seen."""
    judgement = verdict(Start().feed_to(0.0, 6.0, 0.5), holes=(Hole(8.0, 8.01, "the link lost bins"),))
    assert judgement.verdict == "FAIL"


def test_samples_too_coarse_never_pass() -> None:
    trace = Start().trace()
    from dataclasses import replace

    coarse = replace(trace, gap_s=np.full(len(trace), 0.002), runs=None)
    assert judge(coarse, shipped(12), ASKED).verdict == "NO VERDICT"


@pytest.mark.parametrize("role", ["battery", "key_switch"])
def test_clipping_at_the_top_never_passes(role: str) -> None:
    start = Start().change(role, lambda t, v: np.where((t > 6) & (t < 6.5), 30.0, v))
    assert verdict(start).verdict == "NO VERDICT"


def test_a_24_v_vehicle_is_not_judged_with_12_v_limits_or_the_reverse() -> None:
    assert verdict(Start(scale=2.0)).verdict == "NO VERDICT"
    assert verdict(Start(), system_v=24).verdict == "NO VERDICT"
    assert verdict(Start(scale=2.0), system_v=24, trigger_v=14.0).verdict == "PASS"


def test_all_leads_stepping_together_is_a_moved_clip() -> None:
    start = Start()
    gone = (start.t > 6.0) & (start.t < 6.4)
    for role in start.volts:
        start.volts[role] = np.where(gone, start.volts[role] * 0.2, start.volts[role])
    judgement = verdict(start)
    assert judgement.verdict == "NO VERDICT", judgement.reasons


def test_leads_exchanged_or_on_one_point_never_pass() -> None:
    start = Start()
    start.volts["battery"], start.volts["key_switch"] = start.volts["key_switch"], start.volts["battery"]
    assert verdict(start).verdict == "NO VERDICT"
    start = Start()
    start.volts["key_switch"] = start.volts["battery"].copy()
    assert verdict(start).verdict == "NO VERDICT"


def test_a_short_crank_counts_when_the_engine_runs_on() -> None:
    start = Start(release_s=CRANK_S + 0.7, end_s=CRANK_S + 0.7 + 7.0)

    def charge(t: np.ndarray, v: np.ndarray) -> np.ndarray:
        return np.where((t > start.release_s + 0.8) & (v > 5), 14.1 + 0.03 * np.sin(2 * np.pi * 40 * t), v)

    start.change("battery", charge).change("key_switch", charge)
    assert verdict(start).verdict == "NO VERDICT"  # an aborted crank with a charger joined looks the same
    judgement = verdict(start, replace(ASKED, engine_running=True))
    assert judgement.verdict == "PASS", judgement.reasons


def test_without_a_starter_lead_the_sag_and_ripple_are_enough() -> None:
    start = Start()
    del start.volts["starter_coil"]
    judgement = verdict(start)
    assert judgement.verdict == "PASS", judgement.reasons
    assert any("starter" in line for line in judgement.not_measured)


def test_runs_counted_below_another_voltage_are_not_trusted_for_this_limit() -> None:
    """Recorded with a trigger of 7.0 V and judged with a minimum of 7.1 V: a feed held at 7.05 V must not slip between."""
    from dataclasses import replace

    base = shipped(12)
    limits = replace(base, values={**base.values, "module_minimum_v": 7.1})
    start = Start(noise_v=0.001).feed_to(7.02, 6.5, 0.8)
    assert judge(start.trace(trigger_v=7.0), limits, ASKED).verdict != "PASS"
