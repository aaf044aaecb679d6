"""A board that is not there: the firmware's own program, its inputs fed by a simulated start, its clock by the reader.

Nothing waits on the wall clock: time passes when the host reads, as fast as this computer can. `speed` paces it (1: as fast
as a real start). The scenario's key is turned by its own schedule, which begins with the recording.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import numpy as np

from firstcrank import wire
from firstcrank.errors import LinkLostError, UsageError
from firstcrank.model.context import ANSWERS
from firstcrank.nearest import did_you_mean
from firstcrank.units import US_PER_S
from firstcrank.wire_bodies import ChannelBody
from firstcrank_sim.board.converter import Converter
from firstcrank_sim.board.firmware_program import load
from firstcrank_sim.board.link_faults import LINK_FAULTS, LinkFault
from firstcrank_sim.board.parts import (
    Acquisition,
    App,
    Clock,
    Config,
    Input,
    Inputs,
    SolderedInput,
    Store,
    Stream,
    Waveforms,
)
from firstcrank_sim.board.solder_faults import SUPPLY_V, SolderFault, solder_fault
from firstcrank_sim.board.to_trace import sim_converter
from firstcrank_sim.scenarios.catalogue import SCENARIOS, simulate
from firstcrank_sim.scenarios.visits import VISITS, Doubled, Pieces, Steps
from firstcrank_sim.vehicle.truth import Truth

CLEAR_SEED = {"heater_then_crank": 2}  # where start 1 of a kind lies too near a limit to be shown as what it stands for
STEP_US = 4000  # simulated time per pass of the firmware's loop
PINS = tuple(range(26, 34))
PROMPT = b'MicroPython v1.24.1 on 2024-11-29; Raspberry Pi Pico with RP2040\r\nType "help()" for more information.\r\n>>> '
Number = TypeVar("Number", int, float)


class SimulatedBoard:
    """A Link to the simulated board. See link/base.py for what each method promises."""

    synthetic = True

    def __init__(
        self,
        name: str,
        start: Waveforms,
        converter: Converter,
        seed: int,
        fault: LinkFault | None = None,
        speed: float = 0.0,
        solder: SolderFault | None = None,
    ) -> None:
        self.name = name
        self._start = start
        self._converter = converter
        self._seed = seed
        self._fault = fault or LinkFault("", "", silent=bool(solder and solder.keeps_board_off))
        self._solder = solder
        self._speed = speed
        self._clock = Clock()
        self._stream = Stream()
        self._rng = np.random.default_rng([seed, 13])
        self._tables: dict[str, object] = {} if solder else {"calibration": converter.calibration.to_json()}
        self._recording_us: int | None = None
        self._restarted = False
        self._read_s = -1.0
        self._gone = False
        self._began_s = time.monotonic()
        self._app = self._boot()

    def _boot(self) -> App:
        app = load("app")
        running: App = app.App(
            app.Parts(
                clock=self._clock,
                stream=self._stream,
                acquisition=self._acquire,
                adcs=self._adcs,
                drive=self._drive if self._solder else None,
                about={
                    "board": hashlib.sha256(self.name.encode()).hexdigest()[:16],
                    "chip": "simulated board, no hardware",
                    "micropython": "0.0.0",
                    "acquisitions": ["sim"],
                    "adc_pins": list(PINS),
                    "compiled": False,
                    "synthetic": True,
                    **_brings(self._start),
                    **({"firmware": self._fault.firmware} if self._fault.firmware else {}),
                },
                store=Store(self._tables),
                lamp=load("lamp").Lamp(None, self._clock),
                temperature_c=lambda: 21.0,
                random8=lambda: self._rng.bytes(8),
            )
        )
        return running

    def _adcs(self, config: Config) -> list[Input | SolderedInput]:
        if self._solder is not None:
            return [SolderedInput(self._solder.pin(c["pin"])) for c in config["channels"]]
        inputs = self._inputs(config["channels"])
        return [Input(inputs, n) for n in range(len(config["channels"]))]

    def _drive(self, pin: int) -> list[int]:
        """As firmware/firstcrank_board/drive_viper.py: codes after 4 and 60 us, and the most that another input rose meanwhile."""
        assert self._solder is not None
        seen = self._solder.pin(pin)
        return [
            min(round(seen[name] / SUPPLY_V * wire.CODE_TOP), wire.CODE_TOP - 1)
            for name in ("after_4us_v", "after_60us_v", "others_v")
        ]

    def _inputs(self, channels: list[ChannelBody]) -> Inputs:
        return Inputs(self._start, self._converter, [c["role"] for c in channels], self._seed)

    def _acquire(self, config: Config) -> Acquisition:
        wanted = config.get("acquisition", "auto")
        if wanted not in ("auto", "sim"):
            raise load("commands").CommandRejected(f"this board has no acquisition called {wanted}; it has sim")
        self._recording_us = self._clock.us
        return Acquisition(self._clock, self._inputs(config["channels"]), len(config["channels"]))

    def _recorded_s(self) -> float:
        return -1.0 if self._recording_us is None else (self._clock.us - self._recording_us) / US_PER_S

    def _step(self, most_us: int) -> None:
        """One pass of the firmware's loop, then time goes on."""
        fault, recorded_s = self._fault, self._recorded_s()
        if fault.pulled_s is not None and recorded_s >= fault.pulled_s:
            self._gone = True
            return
        if fault.restarted_s is not None and recorded_s >= fault.restarted_s and not self._restarted:
            self._restarted = True
            self._recording_us = None
            self._app = self._boot()
        if fault.stalled_s is not None:
            self._stream.open = not fault.stalled_s[0] <= recorded_s < fault.stalled_s[1]
        if fault.prompt:
            self._stream.to_host += self._stream.read(1 << 16).replace(b"\x00", b"")
        elif not fault.silent:
            self._app.step()
        self._clock.us += min(STEP_US, most_us)

    def read(self, timeout_s: float) -> bytes:
        """Runs the board until it has sent something, at most `timeout_s` of simulated time."""
        deadline_us = self._clock.us + int(timeout_s * US_PER_S)
        while not self._stream.to_host and not self._gone:
            left_us = deadline_us - self._clock.us
            self._step(max(left_us, 1))
            if left_us <= 0:
                break
        self._pace()
        data = b"" if self._in_a_hole() else bytes(self._stream.to_host)
        self._stream.to_host.clear()
        if self._gone and not data:
            raise LinkLostError(f"{self.name}: the board is gone: the cable was pulled")
        return self._as_received(data)

    def _in_a_hole(self) -> bool:
        """Whether what has been sent since the last reading is lost on the way, as the scenario says."""
        before_s, now_s = self._read_s, self._recorded_s()
        self._read_s = now_s
        return any(before_s < end_s and start_s <= now_s for start_s, end_s in self._fault.lost_s)

    def _as_received(self, data: bytes) -> bytes:
        if self._fault.corrupt_share and data:
            hit = self._rng.random(len(data)) < self._fault.corrupt_share
            if hit.any():
                codes = np.frombuffer(data, dtype=np.uint8).copy()
                codes[hit] ^= self._rng.integers(1, 256, int(hit.sum()), dtype=np.uint8)
                data = codes.tobytes()
        return data

    def _pace(self) -> None:
        if self._speed > 0:
            ahead_s = self._clock.us / US_PER_S / self._speed - (time.monotonic() - self._began_s)
            if ahead_s > 0:
                time.sleep(ahead_s)

    def write(self, data: bytes) -> None:
        """Hands `data` to the board. Raises LinkLostError once the cable is pulled."""
        if self._gone:
            raise LinkLostError(f"{self.name}: the board is gone: the cable was pulled")
        self._stream.to_board += data
        if self._fault.prompt and b"\r" in data:
            self._stream.to_host += PROMPT

    def now_s(self) -> float:
        """Simulated seconds since the board was plugged in."""
        return self._clock.us / US_PER_S

    def close(self) -> None:
        """Nothing to give back."""
        self._gone = True


def _brings(start: Waveforms) -> dict[str, object]:
    """System voltage, leads and answers of a scenario, so that a recording gives what the list of scenarios says."""
    brings: dict[str, object] = {"system_v": getattr(start, "system_v", 12)}
    roles, context = getattr(start, "roles", ()), getattr(start, "context", None)
    if not roles or len(roles) > len(PINS):
        return brings
    answers = (
        {} if context is None else {name: getattr(context, name) for name in ANSWERS if getattr(context, name) is not None}
    )
    return {**brings, "leads": [{"role": role, "pin": pin} for role, pin in zip(roles, PINS, strict=False)], "answers": answers}


def open_sim(text: str) -> SimulatedBoard:
    """The Link for "NAME[,seed=N][,speed=X][,pull=S][,system=24][,solder=N]", NAME a scenario or a link fault.

    `seed` 0 or more picks another start of the same kind, `speed` paces it (1: real time; left out: as fast as it goes), `pull`
    pulls the cable S seconds into the recording, `system=24` doubles the volts of a visit, `solder` plants fault N of a wrongly
    soldered board, its clips on the ground clip: for `board check`. Raises UsageError where a part cannot be read.
    """
    name, *options = (part.strip() for part in text.split(","))
    known = {**SCENARIOS, **VISITS, **LINK_FAULTS}
    if name not in known:
        lists = "'firstcrank scenarios' lists them"
        raise UsageError(f"there is no simulated start called {name!r}{did_you_mean(name, known) or ':'} {lists}")
    seed, speed, solder, pull_s, system = CLEAR_SEED.get(name, 1), 0.0, None, None, None
    for option in options:
        key, _, value = option.partition("=")
        seed = _number(option, value, int) if key == "seed" else seed
        speed = _number(option, value, float) if key == "speed" else speed
        solder = solder_fault(_number(option, value, int)) if key == "solder" else solder
        pull_s = _number(option, value, float) if key == "pull" else pull_s
        system = _number(option, value, int) if key == "system" else system
        if key not in ("seed", "speed", "solder", "pull", "system"):
            raise UsageError(f"sim:{text}: {option!r} is not seed=N, speed=X, pull=S, system=24 or solder=N")
    fault = LINK_FAULTS.get(name)
    start = _visit(name, seed, system) if name in VISITS else simulate(fault.scenario if fault else name, seed)
    if system not in (None, start.system_v):
        raise UsageError(f"sim:{text}: {name} is at {start.system_v} V (firstcrank scenarios lists those at 24 V)")
    if name == "stopped_early" and isinstance(start, Truth) and pull_s is None:
        pull_s = start.end_s
    holes = tuple((hole.start_s, hole.end_s) for hole in getattr(start, "holes", ()))
    if holes:
        fault = replace(fault or LinkFault(name, ""), lost_s=holes)
    if pull_s is not None:
        fault = replace(fault or LinkFault(name, ""), pulled_s=pull_s)
    return SimulatedBoard(f"sim:{name}", start, sim_converter(start), seed, fault, speed, solder)


def _visit(name: str, seed: int, system: int | None) -> Pieces | Steps | Doubled:
    visit = VISITS[name](seed)
    return Doubled(visit) if system == 24 else visit


def _number(option: str, value: str, kind: Callable[[str], Number]) -> Number:
    try:
        number = kind(value)
    except ValueError:
        raise UsageError(f"sim: {option!r}: {value!r} is not a number") from None
    if not 0 <= number < 1e9:
        raise UsageError(f"sim: {option!r} must be 0 or more")
    return number
