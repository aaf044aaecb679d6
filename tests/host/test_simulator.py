"""The simulator: same seed same start, its fold is the firmware's, every scenario gets the verdict that its circuit says."""

from __future__ import annotations

import importlib.util
from array import array
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcrank import wire
from firstcrank.analysis.verdict import judge
from firstcrank.errors import UsageError
from firstcrank.limits import shipped
from firstcrank_sim.board.fold_many import fold_many
from firstcrank_sim.board.simulated_board import open_sim
from firstcrank_sim.board.through_frames import through_frames
from firstcrank_sim.board.to_trace import to_trace
from firstcrank_sim.evaluate.trial import run
from firstcrank_sim.scenarios.catalogue import SCENARIOS, simulate, simulate_many

FIRMWARE = Path(__file__).parents[2] / "firmware" / "firstcrank_board"


def firmware_fold() -> ModuleType:
    spec = importlib.util.spec_from_file_location("plain_fold", FIRMWARE / "fold.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@settings(max_examples=40, deadline=None)
@given(
    st.integers(1, 4),
    st.integers(1, 40),
    st.integers(1, 6),
    st.integers(0, 4095),
    st.integers(0, 2**32 - 1),
)
def test_the_vectorised_fold_is_the_firmwares(channels: int, samples_per_bin: int, bins: int, trigger: int, seed: int) -> None:
    fold = firmware_fold()
    rng = np.random.default_rng(seed)
    level = rng.integers(0, 4096, size=(1, channels))
    codes = np.clip(level + rng.integers(-300, 300, size=(bins * samples_per_bin, channels)), 0, 4095).astype(np.uint16)
    key = int(rng.integers(-1, channels))
    many = fold_many(codes, samples_per_bin, key, trigger)
    flat = array("H", codes.ravel().tolist())
    for n in range(bins):
        out = bytearray(6 * channels + 6)
        params = array(
            "i", [n * samples_per_bin * channels, samples_per_bin, channels, key if key >= 0 else fold.NO_KEY, trigger, 0]
        )
        fold.fold(flat, out, params)
        fields = np.frombuffer(bytes(out), dtype="<u2")
        each = fields[: 3 * channels].reshape(channels, 3)
        assert each[:, 0].tolist() == many.mean[n].tolist()
        assert each[:, 1].tolist() == many.lowest[n].tolist()
        assert each[:, 2].tolist() == many.highest[n].tolist()
        assert fields[3 * channels :].tolist() == [many.longest[n], many.head[n], many.tail[n]]


def test_a_name_and_a_seed_are_one_start() -> None:
    one, two = simulate("healthy", 5), simulate("healthy", 5)
    t = np.linspace(0.0, one.end_s, 400)
    assert np.array_equal(one.volts("battery", t), two.volts("battery", t))
    other = simulate("healthy", 6)
    assert not np.array_equal(one.volts("battery", t), other.volts("battery", t))
    trace, again = to_trace(one), to_trace(two)
    assert np.array_equal(trace.channels["key_switch"].mean_v, again.channels["key_switch"].mean_v)
    assert trace.origin["synthetic"] is True


def test_an_unknown_scenario_is_told() -> None:
    with pytest.raises(UsageError, match="firstcrank scenarios"):
        simulate("no such thing")


@pytest.mark.slow
@pytest.mark.parametrize("part", range(6))
def test_every_scenario_gets_the_expected_verdict(part: int) -> None:
    names = sorted(SCENARIOS)[part::6]
    wrong = []
    for truth in simulate_many([(name, 31) for name in names]):
        judgement = judge(to_trace(truth), shipped(truth.system_v), truth.context)
        wanted = (SCENARIOS[truth.name].overall, truth.expected)
        if (judgement.verdict, judgement.feed.verdict) != wanted:
            wrong.append((truth.name, wanted, judgement.verdict, judgement.feed.verdict, judgement.reasons[:2]))
    assert wrong == []


def test_every_cause_has_a_faulty_family() -> None:
    from firstcrank.analysis.causes import RULES

    named = {rule.__name__ for rule in RULES}
    assert {s.cause for s in SCENARIOS.values() if s.cause} == named


def test_lost_frames_are_lost_on_the_long_way_too() -> None:
    trial = run(simulate("bins_lost", 500031), through_frames)
    assert trial.verdict == "NO VERDICT"
    assert "missing" in trial.reasons[0]


def test_a_collapsing_cable_before_the_switch_is_not_taken_for_its_start_contact() -> None:
    """The feed is gone while cranking, and the starter's own control has lost as much."""
    for seed in (500009, 500017):
        assert run(simulate("battery_cable", seed)).named[:1] == ("battery_cable",)


def test_an_idle_board_says_who_it_is_once_a_second() -> None:
    """Also one that has never recorded."""
    board, deframer = open_sim("healthy"), wire.Deframer()
    seen = 0
    while board.now_s() < 5.5:
        seen += sum(frame.kind == wire.IDENTITY for frame in deframer.feed(board.read(0.5)))
    assert seen == 6
