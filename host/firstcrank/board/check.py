"""Is this board fit to be trusted? What it reads, what it loses, how its clock goes: one line each, with what to do.

The board reports numbers; what they mean is decided here. What cannot be told from the board alone (its supply, its
reference) is listed as not checked: only a meter can tell.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Annotated, Literal, TypedDict, cast

from firstcrank import wire
from firstcrank.board.install import LEAST_MICROPYTHON
from firstcrank.board.pin_network import CODES, FIRST_GPIO, LEAD_PINS, SUPPLY_V, PinNetwork, rest_advice
from firstcrank.calibration import Calibration, ChannelCalibration
from firstcrank.calibration_age import DO, age_warning
from firstcrank.errors import CalibrationError, UnreadableTraceError
from firstcrank.link.board_client import BoardClient, patience, table_of
from firstcrank.link.short_recording import short_recording
from firstcrank.thresholds.board import BOARD
from firstcrank.tracefiles.native import from_bytes
from firstcrank.wire_bodies import ChannelBody, IdentityBody, InputBody, SelfCheckBody

Outcome = Literal["ok", "warn", "fail", "not checked"]
TOP_CODE = wire.CODE_TOP - 1
LINK_BYTES = 65536
LINK_S = 5.0
EXTERNAL = "spi_mcp3208"  # its channels' pins are the converter's inputs


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One thing checked: `what`, its `outcome`, what was seen, and what to do where it is not ok."""

    what: Annotated[str, "what was checked: `firmware`, `memory`, `clock`, an input ..."]
    outcome: Annotated[Outcome, "`ok`, `warn`, `fail` or `not checked` (the board alone cannot tell)"]
    seen: str
    do: Annotated[str, "what to do where it is not ok"] = ""


class CheckTable(TypedDict):
    """What `board check --json` prints."""

    fit: Annotated[bool, "nothing says `fail`; the exit code is 4 where not"]
    checks: Annotated[list[CheckLine], "in the order in which to mend things"]


@dataclass(frozen=True, slots=True)
class Answers:
    """What the board said: identity, self-check, its calibration (or None), clock ratio (or None), a short recording's bytes."""

    identity: IdentityBody
    selfcheck: SelfCheckBody
    calibration: Calibration | None
    clock_ratio: float | None
    recording: bytes
    damaged_frames: int
    acquisition: str = "auto"
    link_bytes_per_s: float | None = None  # what the board could send as fast as the link takes it; None: not measured


def ask_board(
    client: BoardClient,
    channels: Sequence[ChannelBody],
    acquisition: str = "auto",
    networks: Mapping[str, PinNetwork] | None = None,
) -> Answers:
    """Runs the self-check, the clock comparison and a short recording. Raises LinkLostError or BoardRefusedError.

    networks: what should hang on each role's pin; those are driven and let go where their lead is at rest.
    """
    client.idle()
    client.configure(channels, 768, 0, acquisition)
    below = {role: network.live_code for role, network in (networks or {}).items()}
    selfcheck = client.ask(wire.SELF_CHECK, wire.CHECK, {"drive_below": below} if below else {})
    stored = client.ask(wire.CALIBRATE, wire.REPLY, {}).get("calibration")
    try:
        calibration = Calibration.from_json(stored) if stored else None
    except CalibrationError:
        calibration = None
    ratio = _clock_ratio(client) if patience() <= 1.0 else None
    damaged = client.damaged_frames  # before: the tail of what the board had sent while the port was closed
    recording = short_recording(client, BOARD.record_s)
    speed = _link_speed(client) if patience() <= 1.0 else None
    lost = client.damaged_frames - damaged
    return Answers(
        client.identity,
        cast(SelfCheckBody, selfcheck),
        calibration,
        ratio,
        recording,
        lost,
        acquisition,
        speed,
    )


def _link_speed(client: BoardClient) -> float | None:
    """Bytes a second while the board sends LINK_BYTES as fast as they are taken. None where the board does not know how."""
    client.command(wire.SELF_CHECK, {"link_bytes": LINK_BYTES})
    began_s, received = None, 0
    deadline_s = client.link.now_s() + LINK_S
    while client.link.now_s() < deadline_s:
        for frame in client.frames(0.1):
            if frame.kind == wire.REPLY:
                return None
            if frame.kind != wire.CHECK:
                continue
            if began_s is None:
                began_s = client.link.now_s()  # from the first frame on: what it took to arrive is not in it
            else:
                received += len(frame.body)
            if table_of(frame.body).get("last"):
                return received / max(client.link.now_s() - began_s, 1e-6)
    return 0.0


def _clock_ratio(client: BoardClient) -> float:
    """Board time over host time."""
    first_us = int(client.ask(wire.GET_STATUS, wire.STATUS)["ticks_us"])
    first_s = client.link.now_s()
    while client.link.now_s() - first_s < BOARD.clock_s:
        client.frames(0.1)
    last_us = int(client.ask(wire.GET_STATUS, wire.STATUS)["ticks_us"])
    return (last_us - first_us) % wire.TICKS_WRAP_US * 1e-6 / (client.link.now_s() - first_s)


def check(
    answers: Answers, nominal: Calibration, today: date | None = None, networks: Mapping[str, PinNetwork] | None = None
) -> tuple[CheckLine, ...]:
    """Every line, in the order in which to mend things. `nominal` gives volts where the board is not calibrated."""
    used = answers.calibration or nominal
    lines = [
        _firmware(answers.identity),
        *_health(answers.identity),
        _memory(answers.selfcheck),
        _temperature(answers.selfcheck),
    ]
    lines.append(_calibration(answers.calibration, today or datetime.now(UTC).date()))
    place = "CH" if answers.acquisition == EXTERNAL else "GP"
    lines += [_input(entry, used, place) for entry in answers.selfcheck.get("inputs", ())]
    lines += [_parts(entry, networks or {}) for entry in answers.selfcheck.get("inputs", ()) if networks]
    lines += _alike(answers.selfcheck.get("inputs", ()))
    lines += [_clock(answers.clock_ratio), *_sampling(answers)]
    lines.append(
        CheckLine(
            "supply and reference",
            "not checked",
            "the board cannot measure its own reference",
            "Compare one input with a meter, or calibrate: firstcrank board calibrate",
        )
    )
    return tuple(lines)


def _firmware(identity: IdentityBody) -> CheckLine:
    version = str(identity.get("micropython", ""))
    seen = f"firstcrank {identity.get('firmware')} on MicroPython {version}, {identity.get('chip')}"
    numbers = tuple(int(n) for n in re.findall(r"\d+", version)[:2])
    if numbers < LEAST_MICROPYTHON and not identity.get("synthetic"):
        needed = ".".join(map(str, LEAST_MICROPYTHON))
        return CheckLine("firmware", "warn", seen, f"MicroPython {needed} or newer is needed: put it on, then install again")
    return CheckLine("firmware", "ok", seen)


def _health(identity: IdentityBody) -> list[CheckLine]:
    """What the board says of itself that must not pass unseen: short of memory, an old table, an error, restarts while it waited."""
    lines = []
    short = identity.get("short_of_memory")
    if short:
        lines.append(
            CheckLine(
                "memory for recording",
                "fail",
                f"too little for the fast acquisition: {short}",
                "Remove other programs from the board, or use a board with more memory: as it is it can miss short dropouts",
            )
        )
    if identity.get("alone_error"):
        lines.append(CheckLine("working alone", "fail", str(identity["alone_error"]), "Tell it again: firstcrank board alone"))
    if identity.get("error"):
        lines.append(
            CheckLine(
                "last error",
                "warn",
                str(identity["error"]),
                "The board restarted after it. Install again; if it comes back, report it",
            )
        )
    if identity.get("restarts"):
        why = ", ".join(f"{count} x {cause}" for cause, count in dict(identity.get("causes") or {}).items())
        missed = int(identity.get("missed") or 0)
        seen = f"{identity['restarts']} while it waited for a start ({why})"
        lines.append(
            CheckLine(
                "restarts",
                "warn",
                seen + (f"; {missed} with the key on: the start before that was not recorded" if missed else ""),
                "Switched off on purpose? If not: another cable, a power bank that does not switch itself off",
            )
        )
    return lines


def _memory(selfcheck: SelfCheckBody) -> CheckLine:
    free = int(selfcheck.get("free_bytes") or 0)
    if free == 0:
        return CheckLine("memory", "not checked", "this board does not tell")
    outcome: Outcome = "ok" if free >= BOARD.little_memory_bytes else "warn"
    return CheckLine(
        "memory", outcome, f"{free // 1024} KiB free", "" if outcome == "ok" else "Remove other files from the board"
    )


def _temperature(selfcheck: SelfCheckBody) -> CheckLine:
    value = selfcheck.get("temperature_c")
    if value is None:
        return CheckLine("chip temperature", "not checked", "this board does not tell")
    fine = BOARD.comfort_low_c <= float(value) <= BOARD.comfort_high_c
    do = "" if fine else "Let the board come nearer to room temperature: its resistors and reference drift"
    return CheckLine("chip temperature", "ok" if fine else "warn", f"{float(value):.0f} °C", do)


def _calibration(calibration: Calibration | None, today: date) -> CheckLine:
    if calibration is None:
        return CheckLine("calibration", "warn", "none on the board", "firstcrank board calibrate, with one meter")
    if calibration.kind != "measured":
        return CheckLine("calibration", "ok", "from resistor values, not measured: larger uncertainty")
    old = age_warning(calibration, today)
    if old:
        return CheckLine("calibration", "warn", old, DO)
    return CheckLine("calibration", "ok", f"measured {calibration.date[:10]}")


def _input(entry: InputBody, used: Calibration, place: str) -> CheckLine:
    role, pin = str(entry["role"]), entry["pin"]
    what = f"input {role.replace('_', ' ')} ({place}{pin})"
    mean, rms = float(entry["mean_code"]), float(entry["rms_code"])
    line = used.channels.get(role)
    seen = _reading(line, mean, rms)
    if entry.get("stuck"):
        return CheckLine(
            what,
            "warn",
            f"{seen}; the code never changes",
            "Look again at another voltage: if it still does not change, the converter's input is stuck",
        )
    if int(entry["highest_code"]) >= TOP_CODE:
        most = f"{line.full_scale_v:.1f} V" if line else "the input's top"
        return CheckLine(
            what,
            "fail",
            f"{seen}; at the top of its range",
            f"More than {most} on the lead, the lower resistor open, or a short to 3.3 V",
        )
    if rms > BOARD.noisy_codes:
        return CheckLine(
            what,
            "warn",
            f"{seen}; restless",
            "Key off and nothing running? Ground clip on the post? Filter capacitor in place?",
        )
    if mean < BOARD.low_code and line is not None and line.offset_v < BOARD.lifted_v:
        return CheckLine(what, "fail", f"{seen}; at the bottom of its range", "Its offset network is open or shorted to ground")
    if mean < BOARD.low_code:
        return CheckLine(what, "ok", f"{seen}: a dead wire, an open lead or a short to ground, all read the same")
    return CheckLine(what, "ok", seen)


def _parts(entry: InputBody, networks: Mapping[str, PinNetwork]) -> CheckLine:
    """The parts at the pin, by how it fell after it had been driven."""
    what = f"parts of {str(entry['role']).replace('_', ' ')} (GP{entry['pin']})"
    network, codes = networks.get(str(entry["role"])), entry.get("driven_codes")
    pin = int(entry["pin"])
    lead = pin - FIRST_GPIO + 1 if FIRST_GPIO <= pin < FIRST_GPIO + len(LEAD_PINS) else 0
    if network is None or not codes:
        pin_v = float(entry["mean_code"]) * SUPPLY_V / CODES
        do = rest_advice(pin_v, lead) if network is not None and float(entry["highest_code"]) >= network.live_code else ""
        return CheckLine(what, "not checked", "only seen with the lead at rest, below 0.2 V, on the chip's own inputs", do)
    outcome, seen, do = network.assess([float(code) for code in codes], lead)
    return CheckLine(what, outcome, seen, do)


def _reading(line: ChannelCalibration | None, mean: float, rms: float) -> str:
    if line is None:
        return f"code {mean:.1f}, noise {rms:.1f} codes"
    volts = float(line.volts(mean))
    return f"{round(volts, 2) + 0.0:.2f} V, noise {rms * line.gain_v_per_code * 1e3:.0f} mV"


def _alike(inputs: Sequence[InputBody]) -> list[CheckLine]:
    """Two inputs that read the same live voltage: bridged on the board, or both leads on one point."""
    live = [e for e in inputs if float(e["mean_code"]) > BOARD.live_code and int(e["highest_code"]) < TOP_CODE]
    return [
        CheckLine(
            f"inputs {a['role']} and {b['role']}".replace("_", " "),
            "warn",
            "both read the same",
            "Unclip one lead: if both readings change, the inputs are bridged on the board",
        )
        for i, a in enumerate(live)
        for b in live[i + 1 :]
        if abs(float(a["mean_code"]) - float(b["mean_code"])) < BOARD.alike_codes
    ]


def _clock(ratio: float | None) -> CheckLine:
    if ratio is None:
        return CheckLine("clock", "not checked", "FIRSTCRANK_TIMEOUT_SCALE is set: this board does not run in real time")
    off = abs(ratio - 1.0)
    seen = f"{ratio - 1.0:+.2%} against this computer"
    if off > BOARD.clock_off:
        return CheckLine("clock", "fail", seen, "Durations would be wrong by as much: try again, then another board")
    return CheckLine("clock", "ok", seen)


def _sampling(answers: Answers) -> list[CheckLine]:
    """From the short recording: does it sample without a gap, and does everything arrive?"""
    try:
        recording = from_bytes(answers.recording)
    except UnreadableTraceError as error:
        return [CheckLine("sampling", "fail", str(error), "Unplug the board, plug it in again, check once more")]
    trace = recording.trace
    seconds = float(trace.end_s[-1])
    rate = float(trace.conversions.sum()) / seconds
    gap_s = float(trace.gap_s.max())
    seen = f"{rate:,.0f} readings a second of each lead ({recording.meta['acquisition']}), longest pause {gap_s * 1e6:.0f} µs"
    lines = [CheckLine("sampling", "ok", seen)]
    streams = [table_of(f.body) for f in wire.Deframer().feed(answers.recording) if f.kind == wire.STREAM]
    why = streams[-1].get("acquisition_why") if streams else None
    if gap_s >= BOARD.shortest_s:
        do = "A dropout of 1 ms could pass unseen: install the firmware again, fewer leads"
        lines = [CheckLine("sampling", "fail", f"{seen}; the fast way is not possible: {why}" if why else seen, do)]
    elif why:
        lines = [CheckLine("sampling", "warn", f"{seen}; the fast way is not possible: {why}", "Other pins, or another board")]
    lines += _converter(answers.recording)
    lost = sorted({hole.why for hole in trace.holes})
    if lost or answers.damaged_frames:
        what = f"{len(trace.holes)} gaps in {seconds:.1f} s{': ' if lost else ''}{', '.join(lost)}"
        seen = f"{what}; {answers.damaged_frames} damaged frames"
        return [*lines, CheckLine("link", "fail", seen, "Another cable, straight into the computer without a hub")]
    rate_kb = len(answers.recording) / seconds / 1000
    seen = f"{rate_kb:.0f} kB/s for {seconds:.1f} s, nothing lost"
    speed = answers.link_bytes_per_s
    if speed is not None and speed < BOARD.link_least_bytes_per_s:
        seen = f"{seen}; at most {speed / 1000:.0f} kB/s" if speed else f"{seen}; then nothing arrived whole"
        return [*lines, CheckLine("link", "fail", seen, "Another cable, straight into the computer without a hub")]
    if speed is not None:
        seen += f"; takes {speed / 1000:.0f} kB/s"
    return [*lines, CheckLine("link", "ok", seen)]


def _converter(recording: bytes) -> list[CheckLine]:
    """The converter's own speed against the chip's clock, and its errors, from the counters of the recording's END."""
    ends = [table_of(f.body) for f in wire.Deframer().feed(recording + b"\x00") if f.kind == wire.END]
    counters = cast("dict[str, int]", ends[-1].get("counters", {}) if ends else {})
    late_us = counters.get("converter_late_us")
    if late_us is None:
        return []
    seen = f"{int(late_us)} us behind the clock at the end"
    if counters.get("converter_errors") or counters.get("fifo_overflows"):
        seen = f"{counters.get('converter_errors', 0)} conversions failed, {counters.get('fifo_overflows', 0)} fell out of its buffer"
        return [CheckLine("converter", "fail", seen, "Check once more; if it comes back, another board")]
    if not -BOARD.late_us < int(late_us) < BOARD.late_us:
        return [CheckLine("converter", "fail", seen, "It is not as fast as it says: durations would be wrong. Another board")]
    return [CheckLine("converter", "ok", seen)]
