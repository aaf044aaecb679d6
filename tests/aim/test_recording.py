"""R: the recording. L: the leads. A: what was answered."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstcrank.limits import shipped
from firstcrank.trace import Trace

from .ask import FAIL, NO, PASS, Context, doubled, limits
from .case import Case, hold, table
from .maker import BIN_S, Crank, Made, Setup, hole

LOSS = {"volts": 0.0, "start_s": 4.5, "length_s": 0.05}  # a fault that stands whatever the evidence, but for the "!" ones
OFF = Setup(off_s=8.2, end_s=8.9)


def lost() -> Made:
    return Made().feed(**LOSS)


def one_sample(role: str, volts: float, at_s: float) -> Made:
    return Made().put(role, volts, at_s, 24e-6)


def spaced(gap_s: float, from_s: float, to_s: float) -> Trace:
    """The board's samples are this far apart for a while."""
    trace = Made().bins()
    there = (trace.start_s >= from_s) & (trace.start_s < to_s)
    return replace(trace, gap_s=np.where(there, gap_s, trace.gap_s))


def paused(rows: int, at_s: float = 4.5) -> Trace:
    """Single readings, every 96 us, with some rows missing."""
    made = Made()
    keep = np.ones(len(made.t) // 4 + 1, dtype=bool)
    first = int(at_s / 96e-6)
    keep[first : first + rows] = False
    return made.rows(4, keep=keep)


R = [
    Case("R1 inside: a start", lambda: Made().bins(kind="start"), PASS, "recording_kind", "pass"),
    Case("R1 outside: another kind", lambda: Made().bins(kind="switch test"), NO, "recording_kind", "no verdict"),
    Case("R1 outside: takes a FAIL away", lambda: lost().bins(kind="switch test"), NO, "recording_kind", "no verdict"),
    Case("R1 intact", lambda: Made().bins(), PASS, "recording_intact", "pass"),
    Case("R1 limits lost", lambda: Made().bins(integrity=("its limits are lost",)), NO, "recording_intact", "no verdict"),
    Case("R1 lost takes FAIL away", lambda: lost().bins(integrity=("limits lost",)), NO, "recording_intact", "no verdict"),
    Case("R2 inside: closed", lambda: Made().bins(complete=True), PASS, "recording_closed", "pass"),
    Case("R2 outside: torn", lambda: Made().bins(complete=False), NO, "recording_closed", "no verdict"),
    Case("R2 outside: a FAIL stands", lambda: lost().bins(complete=False), FAIL, "recording_closed", "no verdict"),
    # R3: one bin is 0.768 ms, two are 1.536 ms
    Case("R3 inside: 0.77 ms in the crank", lambda: Made().bins(holes=(hole(4.5, 4.5 + BIN_S),)), PASS, "nothing_missing", "pass"),
    Case("R3 outside: 1.54 ms", lambda: Made().bins(holes=(hole(4.5, 4.5 + 2 * BIN_S),)), NO, "nothing_missing", "no verdict"),
    Case("R3 outside: a FAIL stands", lambda: lost().bins(holes=(hole(5, 5.1),)), FAIL, "nothing_missing", "no verdict"),
    Case("R3 inside: before ON, feed dead", lambda: Made().bins(holes=(hole(0.3, 0.9),)), PASS, "nothing_missing", "pass"),
    Case("R3 outside: over ON", lambda: Made().bins(holes=(hole(0.9, 1.1),)), NO, "nothing_missing", "no verdict"),
    Case("R3 outside: ends at ON", lambda: Made().bins(holes=(hole(0.7, 1.0),)), NO, "nothing_missing", "no verdict"),
    Case("R3 outside: from ON", lambda: Made().bins(holes=(hole(1.0, 1.3),)), NO, "nothing_missing", "no verdict"),
    Case("R3 outside: key on", lambda: Made().bins(holes=(hole(2.0, 2.1),)), NO, "nothing_missing", "no verdict"),
    Case("R3 outside: in the turn", lambda: Made().bins(holes=(hole(2.9, 2.95),)), NO, "nothing_missing", "no verdict"),
    Case("R3 outside: release", lambda: Made().bins(holes=(hole(6.1, 6.12),)), NO, "nothing_missing", "no verdict"),
    Case("R3 outside: last second", lambda: Made().bins(holes=(hole(8.2, 8.25),)), NO, "nothing_missing", "no verdict"),
    Case("R3 inside: after OFF", lambda: Made(OFF).bins(holes=(hole(8.4, 8.6),)), PASS, "nothing_missing", "pass"),
    Case("R3 outside: just before OFF", lambda: Made(OFF).bins(holes=(hole(8.1, 8.15),)), NO, "nothing_missing", "no verdict"),
    Case("R3 outside: over OFF", lambda: Made(OFF).bins(holes=(hole(8.15, 8.25),)), NO, "nothing_missing", "no verdict"),
    Case("R3 inside: pause of 0.96 ms", lambda: paused(9), PASS, "sampled_finely", "pass"),
    Case("R3 outside: pause of 1.06 ms", lambda: paused(10), NO, "sampled_finely", "no verdict"),
    Case("R3 inside: pause before ON", lambda: paused(40, 0.5), PASS, "nothing_missing", "pass"),
    Case("R3 limit follows dropout_min_s", lambda: Made().bins(holes=(hole(4.5, 4.5 + 2 * BIN_S),)), PASS, "nothing_missing",
         "pass", limits=limits(dropout_min_s=0.002)),
    # R4
    Case("R4 inside: 0.96 ms apart throughout", lambda: spaced(0.00096, 0.0, 99.0), PASS, "sampled_finely", "pass"),
    Case("R4 outside: 1.04 ms apart throughout", lambda: spaced(0.00104, 0.0, 99.0), NO, "sampled_finely", "no verdict"),
    Case("R4 inside: CSV rows 0.96 ms apart", lambda: Made().rows(40), PASS, "sampled_finely", "pass"),
    Case("R4 outside: CSV rows 1.03 ms apart", lambda: Made().rows(43), NO, "sampled_finely", "no verdict"),
    # R5: 0.998 of the range of 18.3 V is 18.26 V
    Case("R5 inside: battery 18.2 V", lambda: one_sample("battery", 18.2, 4.5).bins(), PASS, "within_range", "pass"),
    Case("R5 outside: battery 18.3 V", lambda: one_sample("battery", 18.5, 4.5).bins(), NO, "within_range", "no verdict"),
    Case("R5 inside: feed 18.2 V", lambda: one_sample("key_switch", 18.2, 7.0).bins(), PASS, "within_range", "pass"),
    Case("R5 outside: feed 18.3 V", lambda: one_sample("key_switch", 18.5, 7.0).bins(), NO, "within_range", "no verdict"),
    Case("R5 inside: before ON", lambda: one_sample("battery", 18.5, 0.5).bins(), PASS, "within_range", "pass"),
    Case("R5 inside: range not known", lambda: one_sample("battery", 18.5, 4.5).bins(full_scale_v=None), PASS, "within_range",
         "pass"),
]  # fmt: skip


@table(R)
def test_recording(case: Case) -> None:
    hold(case)


def rest(volts: float, scale: float = 1.0) -> Trace:
    return Made(Setup(rest_v=volts / scale, scale=scale)).bins(full_scale_v=20.0)


def stepped(volts: float, length_s: float, at_s: float, fault: bool = False) -> Trace:
    made = lost() if fault else Made()
    return made.common(volts, at_s, length_s).bins()


def swapped(fault: bool = False) -> Trace:
    made = lost() if fault else Made()
    made.volts["battery"], made.volts["key_switch"] = made.volts["key_switch"], made.volts["battery"]
    return made.bins()


def always_live(below_v: float) -> Trace:
    return Made().lead("key_switch", lambda m: m.volts["battery"] - below_v).bins()


OUT = "no verdict"
L = [
    Case("L1 inside: 8.15 V", lambda: rest(8.15), FAIL, "system_voltage", "pass"),
    Case("L1 outside: 7.85 V takes the FAIL away", lambda: rest(7.85), NO, "system_voltage", OUT),
    Case("L1 inside: 16.35 V", lambda: rest(16.35), PASS, "system_voltage", "pass"),
    Case("L1 outside: 16.65 V", lambda: rest(16.65), NO, "system_voltage", OUT),
    Case("L1 24 V inside: 18.3 V", lambda: rest(18.3, 2.0), FAIL, "system_voltage", "pass", limits=doubled()),
    Case("L1 24 V outside: 17.7 V", lambda: rest(17.7, 2.0), NO, "system_voltage", OUT, limits=doubled()),
    Case("L1 24 V inside: 31.7 V", lambda: rest(31.7, 2.0), PASS, "system_voltage", "pass", limits=doubled()),
    Case("L1 24 V outside: 32.3 V", lambda: rest(32.3, 2.0), NO, "system_voltage", OUT, limits=doubled()),
    Case("L1 24 V limits on 12 V", lambda: Made().bins(), NO, "system_voltage", OUT, limits=shipped(24)),
    Case("L1 12 V limits on 24 V", lambda: Made(Setup(scale=2.0)).bins(), NO, "system_voltage", OUT),
    Case("L1 in place", lambda: Made().bins(), PASS, "leads_in_place", "pass"),
    Case("L1 exchanged", lambda: swapped(), NO, "leads_in_place", OUT),
    Case("L1 exchanged, with a loss", lambda: swapped(fault=True), NO, "leads_in_place", OUT),
    Case("L1 step inside: 12 ms", lambda: stepped(0.6, 0.012, 7.2), PASS, "clips_still", "pass"),
    Case("L1 step outside: 22 ms", lambda: stepped(0.6, 0.022, 7.2), NO, "clips_still", OUT),
    Case("L1 step inside: 0.3 V", lambda: stepped(0.3, 0.2, 7.2), PASS, "clips_still", "pass"),
    Case("L1 step outside: 0.5 V", lambda: stepped(0.5, 0.2, 7.2), NO, "clips_still", OUT),
    Case("L1 step outside: in key on", lambda: stepped(0.8, 0.2, 1.8), NO, "clips_still", OUT),
    Case(
        "L1 step outside: in the crank",
        lambda: stepped(0.8, 0.2, 4.8),
        NO,
        "clips_still",
        OUT,
        gap="a clip that moves while the starter turns is not told from its compressions",
    ),
    Case("L1 step down", lambda: stepped(-0.8, 0.2, 7.2), NO, "clips_still", OUT),
    Case("L1 step takes a FAIL away", lambda: stepped(0.8, 0.2, 7.2, fault=True), NO, "clips_still", OUT),
    Case("L1 step of 0.8 V for 8 ms leaves a FAIL", lambda: stepped(0.8, 0.008, 7.2, fault=True), FAIL, "clips_still", "pass"),
    Case(
        "L1 step of 3 V for 8 ms leaves a FAIL",
        lambda: stepped(3.0, 0.008, 7.2, fault=True),
        FAIL,
        "clips_still",
        "pass",
        gap="a mean over 20 ms is asked and not every part of it",
    ),
    Case("L1 battery gone", lambda: Made().put("battery", 2.2, 4.5, 0.2).bins(), NO, "clips_still", OUT),
    Case("L1 battery not gone", lambda: Made().put("battery", 2.9, 4.5, 0.2).bins(), NO, "clips_still", "pass"),
    Case("L2 inside: 60 mV apart", lambda: always_live(0.06), NO, "leads_apart", "pass"),
    Case("L2 outside: 15 mV apart", lambda: always_live(0.015), NO, "leads_apart", OUT),
]


@table(L)
def test_leads(case: Case) -> None:
    hold(case)


def answered(cranked_with_key: bool = True, module_plugged_in: bool = True) -> Context:
    return Context(cranked_with_key=cranked_with_key, module_plugged_in=module_plugged_in)


A = [
    Case("A1 own key", lambda: Made().bins(), PASS, "own_key", "pass"),
    Case("A1 not asked", lambda: Made().bins(), PASS, "own_key", "pass", context=Context(module_plugged_in=True)),
    Case("A1 bridged", lambda: Made().bins(), NO, "own_key", OUT, context=answered(cranked_with_key=False)),
    Case("A1 bridged, a FAIL stands", lambda: lost().bins(), FAIL, "own_key", OUT, context=answered(cranked_with_key=False)),
    Case("A2 plugged in", lambda: Made().bins(), PASS, "module_plugged", "pass"),
    Case("A2 not asked", lambda: Made().bins(), PASS, "module_plugged", "pass", context=Context(cranked_with_key=True)),
    Case("A2 unplugged", lambda: Made().bins(), NO, "module_plugged", OUT, context=answered(module_plugged_in=False)),
    Case("A2 unplugged, a FAIL stands", lambda: lost().bins(), FAIL, "module_plugged", OUT,
         context=answered(module_plugged_in=False)),
]  # fmt: skip


@table(A)
def test_answers(case: Case) -> None:
    hold(case)


@pytest.mark.parametrize("role", ["battery", "key_switch"])
def test_without_a_lead_that_it_must_have_there_is_no_verdict(role: str) -> None:
    judgement = hold_free(Made().without(role).bins())
    assert judgement == NO


def hold_free(trace: Trace) -> str:
    from .ask import verdict

    return verdict(trace)


def test_two_cranks_need_the_recording_whole_between_them() -> None:
    made = Made(Setup(cranks=(Crank(3.0, 2.2), Crank(7.5, 2.2)), end_s=12.0))
    hold(Case("between cranks", lambda: made.bins(holes=(hole(6.5, 6.6),)), NO, "nothing_missing", OUT))
