"""The board's own first answer against the host's judge on the same coarse bins, over every simulated scenario. Synthetic."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.board.alone import BIN_US, alone_table
from firstcrank.errors import UsageError
from firstcrank.limits import shipped
from firstcrank.wire_bodies import ChannelBody
from firstcrank_sim.board.firmware_program import load
from firstcrank_sim.board.sampling import sample
from firstcrank_sim.board.to_trace import sim_converter, to_trace
from firstcrank_sim.scenarios.catalogue import SCENARIOS, simulate, simulate_many
from firstcrank_sim.vehicle.truth import Truth
from firstcrank_sim.vehicle.waveform import Waveform

BIN_S = BIN_US * 1e-6
SEED = 4711


def watched(truth: Truth) -> tuple[Any, dict[str, Any]]:
    """The board's judge after the whole start, and the table that it was given."""
    converter = sim_converter(truth)
    channels: list[ChannelBody] = [{"role": role, "pin": 26 + n} for n, role in enumerate(truth.roles)]
    table: dict[str, Any] = alone_table(shipped(truth.system_v), converter.calibration, channels, truth.context.feed_kind)
    rng = np.random.default_rng([truth.seed, 7])
    bins = sample(truth, converter, table["trigger_code"], rng, BIN_S)
    folded = bins.folded
    fields = np.empty((len(folded.longest), 3 * len(channels) + 3), dtype=int)
    fields[:, 0:-3:3], fields[:, 1:-3:3], fields[:, 2:-3:3] = folded.mean, folded.lowest, folded.highest
    fields[:, -3], fields[:, -2], fields[:, -1] = folded.longest, folded.head, folded.tail
    quick = load("quick_judge").QuickJudge(table)
    span_us = round(bins.samples_per_bin * bins.step_s * 1e6)
    for row in fields.tolist():
        quick.bin(row, 0, span_us, bins.samples_per_bin)
        if quick.start.state == "done":
            break
    return quick, table


def board_verdict(truth: Truth) -> tuple[str, str]:
    """(verdict, why) of the board, or the state in which it still waits."""
    quick, _ = watched(truth)
    return quick.outcome() if quick.start.state == "done" else ("waits", quick.start.state)


@pytest.mark.parametrize("every", [3, pytest.param(1, marks=pytest.mark.slow)])
def test_it_never_passes_what_fails_and_never_fails_what_passes(every: int) -> None:
    seen = set()
    for truth in simulate_many([(name, SEED) for name in list(SCENARIOS)[::every]]):
        host = judge(
            to_trace(truth, bin_s=BIN_S), shipped(truth.system_v), truth.context
        ).feed.verdict  # the board judges nothing else
        board, why = board_verdict(truth)
        seen.add((host, board))
        assert (host, board) not in {("FAIL", "PASS"), ("PASS", "FAIL")}, (truth.name, why)
        if (host, board) == (
            "PASS",
            "NO VERDICT",
        ):  # a bin of 25 ms can't tell a bounce of the turning key from a loss in START
            assert (truth.name, why) == ("turn_bounce", load("quick_judge").BLINKED)
    assert {("PASS", "PASS"), ("FAIL", "FAIL"), ("NO VERDICT", "NO VERDICT")} <= seen


def with_losses(truth: Truth, *losses: tuple[float, float]) -> Truth:
    """The same start with the feed at nothing from `at_s` for `length_s`, for each of `losses`."""
    feed = truth.point["key_switch"]
    at_s, volts = feed.at_s, feed.value
    for begin_s, length_s in losses:
        edge_s, end_s = 1e-6, begin_s + length_s
        outside = (at_s < begin_s) | (at_s > end_s + edge_s)
        new_s = np.array([begin_s, begin_s + edge_s, end_s, end_s + edge_s])
        new_v = np.array([float(feed(begin_s)), 0.0, 0.0, float(feed(end_s + edge_s))])
        order = np.argsort(joined := np.concatenate((at_s[outside], new_s)), kind="stable")
        at_s, volts = joined[order], np.concatenate((volts[outside], new_v))[order]
    return replace(truth, point={**truth.point, "key_switch": Waveform(at_s, volts)})


EDGES = {"START": lambda s: s.engage_s, "LET GO": lambda s: s.drop_s, "ON": lambda s: s.on_s}
OFFSETS_S = (-0.31, -0.22, -0.16, -0.12, -0.08, -0.03, 0.002, 0.03, 0.07, 0.09, 0.12, 0.16, 0.22, 0.29, 0.4)


@pytest.mark.parametrize("edge", EDGES)
@pytest.mark.parametrize("lead", [True, pytest.param(False, marks=pytest.mark.slow)])
def test_a_loss_beside_an_edge_passes_on_the_board_only_where_the_host_passes_it(edge: str, lead: bool) -> None:
    """Each loss is a bounce by its length; where it lies decides, and the board knows that to a bin of 25 ms only."""
    healthy = simulate("healthy", SEED)
    if not lead:
        roles = tuple(role for role in healthy.roles if role != "starter_coil")
        healthy = replace(healthy, plan=replace(healthy.plan, roles=roles))
    passed = 0
    rng = np.random.default_rng(3)
    for offset_s in OFFSETS_S:
        for length_s in (0.004, 0.0085):
            begin_s = EDGES[edge](healthy.schedule) + offset_s + rng.uniform(-0.012, 0.012)
            for twice in (False, True):
                losses = ((begin_s, length_s), (begin_s + 0.02, 0.002)) if twice else ((begin_s, length_s),)
                truth = with_losses(healthy, *losses)
                board, why = board_verdict(truth)
                host = judge(to_trace(truth), shipped(12), truth.context).feed.verdict
                assert board != "PASS" or host == "PASS", (edge, offset_s, length_s, twice, why)
                assert board != "FAIL" or host == "FAIL", (edge, offset_s, length_s, twice, why)
                passed += board == "PASS"
    assert passed or not lead  # without the lead START is known to 60 ms at best: no bounce is told from a loss in START


@pytest.mark.parametrize(
    ("scenario", "verdict", "expected"),
    [
        ("feed_dead_in_start", "FAIL", "in START, while cranking"),
        ("feed_from_start_terminal", "FAIL", "live only while cranking"),
        ("feed_resistance", "FAIL", "drops too much"),
        ("short_crank", "NO VERDICT", "too short"),
        ("bumped_key_off", "NO VERDICT", "not seen off and then up"),
        ("ground_module", "NO VERDICT", "ground rose"),
        ("healthy_24v", "PASS", "held"),
    ],
)
def test_what_it_says(scenario: str, verdict: str, expected: str) -> None:
    found, why = board_verdict(simulate(scenario, SEED))
    assert found == verdict, why
    assert expected in why


@pytest.mark.parametrize("scenario", ["heater_only", "key_only"])
def test_without_a_crank_it_waits_on(scenario: str) -> None:
    assert board_verdict(simulate(scenario, SEED)) == ("waits", "run")


@pytest.mark.parametrize(("lost", "verdict"), [(0, "PASS"), (1, "NO VERDICT")])
def test_lost_readings_spoil_a_pass(lost: int, verdict: str) -> None:
    """A start that passes, seen by the stand-alone board that lost one conversion of it, or none."""
    quick, table = watched(simulate("healthy", SEED))

    def keep_newest(wanted: bool) -> None:
        if not wanted:
            raise OSError("no disk in this test")

    app = SimpleNamespace(
        acquisition=SimpleNamespace(lost_conversions=lost, stop=lambda: None),
        ring=SimpleNamespace(keep_newest=keep_newest, index=[0]),
        parts=SimpleNamespace(lamp=SimpleNamespace(show=lambda *_: None)),
        journal=SimpleNamespace(waiting=None),
        config={},
        begin_acquisition=lambda config: None,
    )
    alone = load("alone").Alone(app, table)
    alone._judge = quick
    alone._finish()
    assert alone.verdict == verdict, alone.why
    assert ("lost readings" in alone.why) == bool(lost)


def test_working_alone_needs_battery_and_feed() -> None:
    calibration = sim_converter(simulate("healthy", 1)).calibration
    with pytest.raises(UsageError, match="battery and key_switch"):
        alone_table(shipped(12), calibration, [{"role": "key_switch", "pin": 27}])


def test_the_command_fits_a_frame() -> None:
    import json

    from firstcrank import wire

    truth = simulate("healthy", 1)
    channels: list[ChannelBody] = [{"role": r, "pin": 26 + n} for n, r in enumerate(truth.roles)]
    body = json.dumps({"alone": alone_table(shipped(12), sim_converter(truth).calibration, channels)})
    assert len(body) < wire.MAX_BODY_BYTES * 0.75
