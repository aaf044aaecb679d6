"""A recording made once from the simulator, through the real recorder, for tests that read or damage it."""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path
from typing import Any

from firstcrank import wire
from firstcrank.analysis.live import LiveTracker
from firstcrank.calibration import Calibration
from firstcrank.limits import shipped
from firstcrank.link.board_client import BoardClient
from firstcrank.link.open import open_link
from firstcrank.model.context import Context as Context
from firstcrank.recorder import Plan, record
from firstcrank.wire_bodies import ChannelBody

CHANNELS: list[ChannelBody] = [
    {"role": "battery", "pin": 26},
    {"role": "key_switch", "pin": 27},
    {"role": "starter_coil", "pin": 28},
]


class Silent:
    """An observer that remembers."""

    def __init__(self, answer: bool | None = None) -> None:
        self.answer, self.asked = answer, 0
        self.states: list[str] = []
        self.messages: list[tuple[str, ...]] = []
        self.why = ""

    def leads(self, lines: tuple[str, ...], key_is_off: bool) -> None:
        self.messages.append(lines)

    def bins(self, tracker: LiveTracker, *_: Any) -> None:
        if not self.states or self.states[-1] != tracker.state:
            self.states.append(tracker.state)

    def ended(self, why: str) -> None:
        self.why = why

    def runs(self) -> bool | None:
        self.asked += 1
        return self.answer

    def over(self) -> str:
        return ""

    def account(self) -> tuple[str, ...]:
        return ()


def stored_calibration(client: BoardClient) -> Calibration:
    """What the board keeps. Raises AssertionError where it keeps none."""
    stored = client.ask(wire.CALIBRATE, wire.REPLY, {})["calibration"]
    assert stored is not None, "the board keeps no calibration"
    return Calibration.from_json(stored)


def make(
    name: str,
    path: Path,
    context: Context | None = None,
    acquisition: str = "auto",
    leads: tuple[str, ...] = (),
    answer: bool | None = None,
) -> Silent:
    """Records sim:NAME into `path`; `leads` on pins 26 and up, if not the minimal build's.

    `answer`: what is answered where the recorder asks whether the engine runs.
    """
    observer = Silent(answer)
    limits = shipped(24 if "24" in name else 12)
    client = BoardClient(open_link(f"sim:{name},seed=3"))
    try:
        client.handshake()
        calibration = stored_calibration(client)
        answers = context or Context(cranked_with_key=True, module_plugged_in=True)
        channels: list[ChannelBody] = [{"role": role, "pin": 26 + n} for n, role in enumerate(leads)] or CHANNELS
        record(client, Plan(path, limits, calibration, answers, channels, acquisition=acquisition), observer)
    finally:
        client.close()
    return observer


@functools.cache
def watched(name: str) -> tuple[bytes, Silent]:
    """The bytes of a recording of sim:NAME and what its observer received, made once per run of the tests."""
    if name == "marigold_repaired":
        watched("marigold_trap")  # the same vehicle before its repair: its start is the earlier one in whatever order tests run
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "start.fcr"
        observer = make(name, path)
        return path.read_bytes(), observer


def recorded(name: str) -> bytes:
    """The bytes of a recording of sim:NAME."""
    return watched(name)[0]
