"""Every image that is there records a start on its board: PASS for a healthy one, FAIL for a feed lost for 4 ms.

Images by name: those in ~/.cache/firstcrank; FIRSTCRANK_IMAGES names others, separated by colons. The start goes through the chip's
pins, the firmware, frames and the host's judge.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from firstcrank import wire
from firstcrank.analysis.verdict import judge
from firstcrank.board.alone import alone_table
from firstcrank.board.captures import write_recording
from firstcrank.calibration import read_calibration
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.tracefiles.native import read_native

from . import played_start
from .image import CACHED, micropython_image
from .session import CHANNELS, ID, Session
from .test_alone_chip import NOMINAL, Playing
from .test_fast_acquisition import long

pytestmark = [pytest.mark.emulated_chip, pytest.mark.slow]
IMAGES = [Path(n) for n in os.environ.get("FIRSTCRANK_IMAGES", "").split(":") if n] or sorted(CACHED.parent.glob("*.uf2"))


class Taped(Session):
    """Keeps the bytes as they came."""

    tape = b""

    def pull(self) -> None:
        data = self.chip.take()
        self.tape += data
        self.frames += self.deframer.feed(data)


@long
@pytest.mark.parametrize("image", IMAGES or [None], ids=lambda image: image.stem if image else "none")
def test_a_start_is_recorded_and_judged(tmp_path: Path, image: Path | None) -> None:
    play = Playing("healthy")
    board = Taped(play, image=image or micropython_image())
    assert "short_of_memory" not in board.identity
    limits, calibration = shipped(12), read_calibration(NOMINAL)
    trigger = alone_table(limits, calibration, CHANNELS)["trigger_code"]
    for scenario, verdict in (("healthy", "PASS"), ("glitch", "FAIL")):
        play.scenario, play.begin_s, board.tape = scenario, 1e9, b""
        stream = board.start(trigger_code=trigger)
        assert stream["acquisition"] == "rp2_dma"
        play.begin_s = board.chip.now_s + 0.05
        board.chip.run(played_start.RELEASE_S + 2.4)  # the judge asks for two seconds after the release
        end = board.stop()
        assert end["lost_conversions"] == end["lost_bins"] == 0
        frames = [f for f in wire.Deframer().feed(board.tape) if f.recording_id == ID]
        data = b"".join(wire.encode_frame(f.kind, f.recording_id, f.sequence, f.body) for f in frames)
        path = tmp_path / f"{scenario}.fcr"
        write_recording(path, data, "test", calibration, limits, Context(cranked_with_key=True, module_plugged_in=True))
        recording = read_native(path)
        judgement = judge(recording.trace, limits, recording.context)
        assert judgement.verdict == verdict, judgement.reasons
        assert recording.trace.holes == ()
        if scenario == "glitch":
            (dropout,) = [d for d in judgement.dropouts if d.counts]
            assert dropout.duration_s == pytest.approx(0.004, abs=1e-5)
        print(f"{board.identity['micropython']} on {board.identity['chip']}: {scenario} {judgement.verdict}", flush=True)
