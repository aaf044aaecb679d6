"""The board's program against whatever a link and a host can do to it: it refuses with a reason and goes on."""

from __future__ import annotations

import itertools
import random
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcrank import wire, wire_bodies
from firstcrank_sim.board.firmware_program import load

from .scripted_board import CHANNELS, ID, ScriptedBoard, table

COMMANDS = [
    wire.IDENTIFY,
    wire.CONFIGURE,
    wire.START,
    wire.STOP,
    wire.GET_STATUS,
    wire.SELF_CHECK,
    wire.ARM,
    wire.CAPTURES,
    wire.CALIBRATE,
]
HUGE_PIN = b'{"channels": [{"role": "battery", "pin": 100000000000000000000}]}'  # MicroPython's Pin raises OverflowError for it


@pytest.fixture
def board() -> ScriptedBoard:
    made = ScriptedBoard()
    made.steps()
    return made


def kinds(frames: list[wire.Frame]) -> list[str]:
    return [chr(f.kind) for f in frames]


def contiguous(frames: list[wire.Frame]) -> bool:
    """Each BINS frame goes on where the one before ended."""
    heads = [wire_bodies.unpack_bins_head(f.body) for f in frames if f.kind == wire.BINS]
    return bool(heads) and all(
        b.first_conversion == a.first_conversion + a.bin_count * a.conversions * a.channel_count
        for a, b in itertools.pairwise(heads)
    )


def test_it_says_who_it_is_at_once_and_once_a_second() -> None:
    frames = ScriptedBoard().steps(3100)
    assert kinds(frames) == ["I"] * 4
    assert table(frames[0])["state"] == "idle"


# --- what comes in ---------------------------------------------------------------------------------------


def test_garbage_is_counted_and_does_not_hide_the_command_behind_it(board: ScriptedBoard) -> None:
    board.link.to_board += random.Random(1).randbytes(5000) + b"\x00"
    board.send(wire.GET_STATUS)
    (status,) = [table(f) for f in board.steps(300) if f.kind == wire.STATUS]
    assert status["state"] == "idle"
    assert status["bad_commands"] > 0


def test_ctrl_c_is_a_byte_like_any_other(board: ScriptedBoard) -> None:
    board.link.to_board += b"\x03\x03"
    board.send(wire.GET_STATUS)
    board.send(wire.CALIBRATE, {"store": {"kind": "\x03\x03"}})
    board.link.to_board += b"\x03"
    frames = board.steps()
    assert {wire.STATUS, wire.REPLY} <= {f.kind for f in frames}
    assert board.app.parts.store.tables["calibration"] == {"kind": "\x03\x03"}


def test_ctrl_c_while_recording_costs_nothing(board: ScriptedBoard) -> None:
    assert board.ask(wire.START, {})["ok"]
    board.link.to_board += b"\x03" * 200 + b"\x00"
    board.steps(200)
    board.send(wire.STOP)
    board.steps(200)
    assert contiguous(board.received)
    assert table(board.received[-1])["counters"]["lost_bins"] == 0


@settings(deadline=None, max_examples=max(30, settings().max_examples))
@given(st.lists(st.one_of(st.binary(max_size=300), st.sampled_from(COMMANDS)), max_size=8))
def test_no_bytes_end_the_program(pieces: list[bytes | int]) -> None:
    board = ScriptedBoard()
    for piece in pieces:
        if isinstance(piece, bytes):
            board.link.to_board += piece
        else:
            board.send(piece, {})
    board.link.to_board += b"\x00"
    board.steps(400)
    board.send(wire.STOP)
    board.steps(200)
    assert board.counters()["state"] == "idle"


NUMBERS = st.one_of(st.integers(-5, 70000), st.just(10**20), st.floats(allow_nan=False), st.booleans(), st.none())
TEXTS = st.sampled_from(["", "battery", "key_switch", "auto", "spi_mcp3208", "list", "read", "fetched", "\u20ac"])
KEYS = st.sampled_from(
    [
        "channels",
        "role",
        "pin",
        "bin_us",
        "trigger_code",
        "ring_bins",
        "acquisition",
        "alone",
        "store",
        "do",
        "number",
        "offset",
        "pieces",
        "limits",
        "feed_kind",
    ]
)
JSON = st.recursive(
    st.one_of(NUMBERS, TEXTS), lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(KEYS, inner, max_size=5))
)
NEAR = st.fixed_dictionaries(
    {},
    optional={
        "channels": st.one_of(JSON, st.lists(st.fixed_dictionaries({"role": TEXTS, "pin": NUMBERS}), max_size=9)),
        "bin_us": NUMBERS,
        "trigger_code": NUMBERS,
        "ring_bins": NUMBERS,
        "acquisition": JSON,
        "alone": JSON,
        "do": TEXTS,
        "number": NUMBERS,
        "offset": NUMBERS,
        "pieces": NUMBERS,
        "store": JSON,
    },
)


@settings(deadline=None, max_examples=max(30, settings().max_examples))
@given(st.lists(st.tuples(st.sampled_from(COMMANDS), st.one_of(NEAR, JSON, st.binary(max_size=40))), min_size=1, max_size=6))
def test_no_command_ends_the_program(tmp_path_factory: pytest.TempPathFactory, commands: list[tuple[int, Any]]) -> None:
    """A board whose program ends is at the MicroPython prompt, in the middle of a job."""
    board = ScriptedBoard(captures=load("captures").Captures(str(tmp_path_factory.getbasetemp() / "captures")))
    for kind, body in commands:
        board.send(kind, body)
        board.steps(48)
    board.send(wire.STOP)
    while board.link.to_board:  # 64 bytes a pass at most, and these bodies are long
        board.steps(48)
    board.steps(200)
    assert board.counters()["state"] == "idle"


@pytest.mark.parametrize(
    "body", [b"{", b"[]", b"7", b"\xff\xfe", b'{"bin_us": 1e9}', b'{"bin_us": 249}', b'{"channels": 3}', HUGE_PIN]
)
def test_a_configuration_that_is_none_is_refused_and_changes_nothing(board: ScriptedBoard, body: bytes) -> None:
    before = dict(board.app.config)
    board.send(wire.CONFIGURE, body)
    (reply,) = [table(f) for f in board.steps() if f.kind == wire.REPLY]
    assert (reply["to"], reply["ok"]) == (wire.CONFIGURE, False)
    assert reply["why"]
    assert board.app.config == before
    assert board.counters()["bad_commands"] == 1


@pytest.mark.parametrize("stored", [7, "text", [1], {"channels": 10**20}, {"channels": ["battery"]}])
def test_a_calibration_that_is_none_is_refused_or_left_out(board: ScriptedBoard, stored: Any) -> None:
    """Refused on its way in; a file on the flash that holds one does not keep the board from recording."""
    board.send(wire.CALIBRATE, {"store": stored})
    (reply,) = [table(f) for f in board.steps() if f.kind == wire.REPLY]
    assert (reply["to"], reply["ok"]) == (wire.CALIBRATE, False)
    assert "calibration" not in board.app.parts.store.tables
    damaged = ScriptedBoard({"calibration": stored})
    damaged.steps()
    damaged.send(wire.START)
    (stream,) = [table(f) for f in damaged.steps() if f.kind == wire.STREAM]
    assert "calibration" not in stream


# --- what goes out ---------------------------------------------------------------------------------------


def test_short_writes_are_counted_and_lose_nothing(board: ScriptedBoard) -> None:
    dice = random.Random(2)
    board.link.takes = lambda size: dice.choice((size, size, size // 2, 1, 0, None))
    board.send(wire.START, {})
    board.steps(3000)
    board.link.takes = lambda size: size
    board.send(wire.STOP)
    board.steps(3000)
    end = table(next(f for f in board.received if f.kind == wire.END))["counters"]
    assert end["short_writes"] > 100
    assert end["lost_bins"] == 0
    assert contiguous(board.received)
    (head, *_, last) = [wire_bodies.unpack_bins_head(f.body) for f in board.received if f.kind == wire.BINS]
    assert head.first_conversion == 0
    assert last.first_conversion + last.bin_count * last.conversions * last.channel_count == int(end["conversions"])
    assert last.short_writes > 0  # told with every frame, not only at the end


def test_a_host_that_does_not_read_loses_bins_that_are_counted(board: ScriptedBoard) -> None:
    board.ask(wire.CONFIGURE, {"ring_bins": 64})
    board.ask(wire.START, {})
    board.link.ready = False
    board.steps(500)
    board.link.ready = True
    board.steps(500)
    board.send(wire.STOP)
    board.steps(500)
    end = table(next(f for f in board.received if f.kind == wire.END))["counters"]
    assert 400 < end["lost_bins"] < 500
    heads = [wire_bodies.unpack_bins_head(f.body) for f in board.received if f.kind == wire.BINS]
    sent = sum(h.bin_count for h in heads)
    assert sent + end["lost_bins"] == board.made[-1].bins
    assert heads[-1].lost_bins == end["lost_bins"]


def test_answers_that_nobody_takes_do_not_fill_the_memory(board: ScriptedBoard) -> None:
    board.link.ready = False
    for _ in range(50):
        board.send(wire.GET_STATUS)
        board.steps(20)
    board.link.ready = True
    frames = board.steps(100)
    assert 1 <= len(frames) <= 10
    assert board.counters()["dropped_control"] >= 40


def test_stop_ends_even_where_nobody_reads(board: ScriptedBoard) -> None:
    board.ask(wire.START, {})
    ticks = board.clock.ticks_us

    def going_on() -> int:  # inside STOP the loop does not pass: time must
        board.clock.now_us += 100
        return ticks()

    board.clock.ticks_us = going_on  # type: ignore[method-assign]
    board.link.ready = False
    board.send(wire.STOP)
    board.steps(40)
    assert board.app.state == "idle"
    assert not board.made[-1].running


# --- the order of commands ---------------------------------------------------------------------------------


def test_start_twice_is_refused_and_the_first_recording_goes_on(board: ScriptedBoard) -> None:
    assert board.ask(wire.START, {})["ok"]
    board.send(wire.START, {}, b"another!")
    frames = board.steps(200)
    (reply,) = [table(f) for f in frames if f.kind == wire.REPLY]
    assert not reply["ok"]
    assert reply["why"] == "already recording: stop first"
    assert {f.recording_id for f in frames if f.kind == wire.BINS} == {ID}
    assert len(board.made) == 1
    assert contiguous(board.received)


def test_stop_while_idle_is_answered_and_ends_nothing(board: ScriptedBoard) -> None:
    board.send(wire.STOP)
    frames = board.steps()
    assert kinds(frames) == ["R"]
    assert table(frames[0])["ok"]


def test_stop_twice_ends_once(board: ScriptedBoard) -> None:
    board.ask(wire.START, {})
    board.send(wire.STOP)
    board.send(wire.STOP)
    frames = board.steps(200)
    assert kinds(frames).count("E") == 1
    assert [table(f)["ok"] for f in frames if f.kind == wire.REPLY] == [True, True]


@pytest.mark.parametrize(
    ("kind", "body"),
    [(wire.CONFIGURE, {"bin_us": 500}), (wire.SELF_CHECK, None), (wire.CALIBRATE, {"store": {}}), (wire.ARM, {})],
)
def test_what_would_disturb_a_recording_is_refused_while_it_runs(board: ScriptedBoard, kind: int, body: Any) -> None:
    board.ask(wire.START, {})
    reply = board.ask(kind, body)
    assert not reply["ok"]
    assert "stop first" in reply["why"]
    assert board.app.config["bin_us"] == 768
    assert board.counters()["state"] == "recording"


def test_arm_twice_is_refused_and_it_stays_armed(board: ScriptedBoard) -> None:
    first = board.ask(wire.ARM, {})
    assert first["ok"]
    assert first["kept_ms"] > 1000
    again = board.ask(wire.ARM, {})
    assert not again["ok"]
    assert again["why"] == "already armed: stop first"
    assert len(board.made) == 1
    assert board.counters()["state"] == "armed"


def test_arm_without_a_battery_lead_is_refused_with_what_is_needed(board: ScriptedBoard) -> None:
    assert board.ask(wire.CONFIGURE, {"channels": CHANNELS[1:]})["ok"]
    reply = board.ask(wire.ARM, {})
    assert not reply["ok"]
    assert "battery" in reply["why"]
    assert not board.made
    assert board.counters()["state"] == "idle"


def test_armed_and_stopped_sends_no_recording(board: ScriptedBoard) -> None:
    board.ask(wire.ARM, {})
    board.steps(100)
    board.send(wire.STOP)
    frames = board.steps(100)
    assert set(kinds(frames)) <= {"R", "I"}
    assert not board.made[-1].running


def test_start_while_armed_gives_what_was_kept_without_a_break(board: ScriptedBoard) -> None:
    board.ask(wire.ARM, {})
    assert not [f for f in board.steps(300) if f.kind == wire.BINS]
    board.ask(wire.START, {})
    board.steps(800)
    (stream,) = [table(f) for f in board.received if f.kind == wire.STREAM][:1]
    assert stream["pretrigger_bins"] >= 300
    assert contiguous(board.received)
    assert len(board.made) == 1


# --- trouble at the start ------------------------------------------------------------------------------------


@pytest.mark.parametrize("trouble", [MemoryError("memory allocation failed"), OSError(16), ValueError("no such pin")])
@pytest.mark.parametrize("kind", [wire.START, wire.ARM])
def test_an_acquisition_that_cannot_start_is_a_refusal_and_the_loop_goes_on(
    board: ScriptedBoard, trouble: Exception, kind: int
) -> None:
    board.trouble = trouble
    reply = board.ask(kind, {})
    assert not reply["ok"]
    assert reply["why"].startswith("acquisition did not start: ")
    assert not board.made[-1].running  # stopped, whatever it had begun
    assert board.counters()["state"] == "idle"
    board.trouble = None
    assert board.ask(kind, {})["ok"]
    board.steps(50)
    assert board.made[-1].running


@pytest.mark.parametrize(
    "trouble", [MemoryError(), OSError(16), ValueError("input 9: the external converter has inputs 0 to 7")]
)
def test_the_same_where_it_cannot_even_be_made(board: ScriptedBoard, trouble: Exception) -> None:
    board.refuses = trouble
    assert not board.ask(wire.START, {})["ok"]
    assert board.counters()["state"] == "idle"


def test_memory_short_after_a_good_recording_does_not_lose_the_loop(board: ScriptedBoard) -> None:
    board.ask(wire.START, {})
    board.steps(50)
    board.send(wire.STOP)
    board.steps(100)
    board.trouble = MemoryError()
    assert not board.ask(wire.START, {})["ok"]
    assert board.counters()["state"] == "idle"


@pytest.mark.parametrize("trouble", [ValueError("Pin doesn't have ADC capabilities"), OSError(5), MemoryError()])
def test_a_self_check_on_inputs_that_are_not_there_is_refused(board: ScriptedBoard, trouble: Exception) -> None:
    def none_there(config: dict[str, Any]) -> list[Any]:
        raise trouble

    board.adcs = none_there
    reply = board.ask(wire.SELF_CHECK)
    assert not reply["ok"]
    assert reply["why"].startswith("self-check: ")
    assert board.counters()["state"] == "idle"


def test_the_self_check_reads_the_inputs_of_the_configured_acquisition(board: ScriptedBoard) -> None:
    asked: list[str] = []

    class Input:
        @staticmethod
        def read_u16() -> int:
            return 100 << 4

    def inputs(config: dict[str, Any]) -> list[Any]:
        asked.append(config["acquisition"])
        return [Input() for _ in config["channels"]]

    board.adcs = inputs
    board.ask(wire.CONFIGURE, {"acquisition": "spi_mcp3208", "channels": [{"role": "battery", "pin": 7}]})
    board.send(wire.SELF_CHECK)
    (check,) = [table(f) for f in board.steps() if f.kind == wire.CHECK]
    assert asked == ["spi_mcp3208"]
    assert [(i["role"], i["pin"], i["mean_code"]) for i in check["inputs"]] == [("battery", 7, 100)]


def test_leaving_stops_the_acquisition(board: ScriptedBoard) -> None:
    board.ask(wire.START, {})
    board.send(wire.LEAVE)
    board.app.run()
    assert not board.made[-1].running
    assert "E" in kinds(board.steps(1))


def test_an_error_in_the_loop_still_stops_the_acquisition(board: ScriptedBoard) -> None:
    board.ask(wire.START, {})

    def broken(size: int) -> int:
        raise OSError(5)

    board.link.takes = broken
    with pytest.raises(OSError, match="5"):
        board.app.run()
    assert not board.made[-1].running


def test_a_damaged_configuration_in_flash_does_not_keep_it_from_answering(tmp_path: Path) -> None:
    for stored in ({"bin_us": -1}, {"channels": "none"}, {"channels": [{"role": "battery"}]}):
        board = ScriptedBoard({"config": stored})
        assert kinds(board.steps(3)) == ["I"]
        assert board.app.config["bin_us"] == 768
