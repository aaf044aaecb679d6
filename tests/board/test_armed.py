"""An armed board keeps the last two seconds and starts by itself at the inrush, on the emulated chip."""

from __future__ import annotations

from itertools import pairwise

import pytest

from firstcrank import wire

from .dropouts import Dropouts
from .session import CHANNELS, Session
from .test_fast_acquisition import long

pytestmark = [pytest.mark.emulated_chip, pytest.mark.slow]


@long
def test_the_inrush_starts_it_and_nothing_before_is_lost() -> None:
    dropouts = Dropouts()
    board = Session(dropouts)
    board.ask(wire.CONFIGURE, {"channels": CHANNELS, "bin_us": 768, "trigger_code": 0})
    reply = board.ask(wire.ARM, {})
    assert reply["ok"]
    kept_s = reply["kept_ms"] / 1000
    assert kept_s >= 1.53  # the least ring of a plain board, 48,000 bytes, of 0.77 ms bins of three channels
    armed_s = board.chip.now_s
    board.chip.run(2.3)
    assert not board.heads()  # nothing is sent while it waits
    dropouts.code = 1600  # of 2400: the battery sags by a third
    dropouts.add(0, board.chip.now_s, 10.0)
    sag_s = board.chip.now_s
    stream = board.wait(wire.STREAM, 0.5)
    board.chip.run(0.6)
    heads = board.heads()
    first, last = heads[0][0], heads[-1][0]
    period_s = 2e-6
    sag_conversion = (sag_s - armed_s) / period_s
    assert stream["pretrigger_bins"] * 768e-6 >= kept_s - 0.02
    assert sag_conversion - first.first_conversion >= (kept_s - 0.05) / period_s
    assert last.first_conversion > sag_conversion
    assert last.lost_bins == 0
    assert all(b.first_conversion == a.first_conversion + a.bin_count * a.conversions * 3 for (a, _), (b, _) in pairwise(heads))
    end = board.stop()
    assert end["lost_conversions"] == 0
