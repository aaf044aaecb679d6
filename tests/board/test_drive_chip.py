"""Each input's parts named by driving the pin and letting it go, and the link tried, on the emulated chip with modelled pads.

The pad's circuit is the closed form of firstcrank/board/pin_network.py; what is tried here is the firmware's driving, its timing in CPU
cycles, and the way to the host.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from rp2040py.gpio_pin import GPIOPinState

from firstcrank import wire
from firstcrank.board.pin_network import CODES, SUPPLY_V, PinNetwork

from .session import CHANNELS, ID, Session
from .test_fast_acquisition import long

pytestmark = [pytest.mark.emulated_chip, pytest.mark.slow]
GOOD = PinNetwork(33e3, 6.8e3, 10e-9)
LIVE = 900


class Pads:
    """Codes of three inputs at rest, but for what their pins were driven to. `networks` is what hangs on each."""

    def __init__(self) -> None:
        self.networks = [GOOD, PinNetwork(33e3, 6.8e3, 100e-9), GOOD]
        self.rest = [0, 0, LIVE]
        self.driven = [False] * 3
        self.released_s = [-1.0] * 3
        self.drives = [0] * 3

    def attach(self, board: Session) -> None:
        """Listens to the pads."""
        for number in range(3):
            board.chip.mcu.gpio[26 + number].add_listener(self._listener(board, number))

    def _listener(self, board: Session, number: int) -> Callable[[GPIOPinState, GPIOPinState], None]:
        def changed(state: GPIOPinState, _before: GPIOPinState) -> None:
            high = state is GPIOPinState.HIGH
            if self.driven[number] and not high:
                self.released_s[number] = board.chip.now_s
            self.drives[number] += high and not self.driven[number]
            self.driven[number] = high

        return changed

    def __call__(self, channel: int, t_s: float) -> int:
        if channel > 2:
            return 876
        if self.driven[channel]:
            return CODES - 1
        since_s = t_s - self.released_s[channel]
        if self.released_s[channel] < 0 or since_s > 0.002:
            return self.rest[channel]
        return min(max(round(self.networks[channel].after_v(since_s, False) / SUPPLY_V * CODES), 0), CODES - 1)


@long
def test_driven_and_let_go() -> None:
    pads = Pads()
    board = Session(pads)
    pads.attach(board)
    assert board.ask(wire.CONFIGURE, {"channels": CHANNELS, "acquisition": "auto"})["ok"]
    board.send(wire.SELF_CHECK, {"drive_below": {c["role"]: GOOD.live_code for c in CHANNELS}}, ID)
    check = board.wait(wire.CHECK, 2.0)
    good, too_large, live = check["inputs"]
    print(good["driven_codes"], too_large["driven_codes"], pads.drives)
    assert GOOD.assess(good["driven_codes"])[0] == "ok"
    assert "Capacitor too large" in GOOD.assess(too_large["driven_codes"])[2]
    assert "driven_codes" not in live  # a wire that is live is left alone
    assert pads.drives == [6, 6, 0]
    for n, after_s in enumerate((4e-6, 60e-6)):
        assert good["driven_codes"][n] / CODES * SUPPLY_V == pytest.approx(GOOD.after_v(after_s, False), rel=0.06)
    board.send(wire.SELF_CHECK, {"link_bytes": 8000}, ID)
    board.wait(wire.CHECK, 2.0, last=True)
    assert sum(len(f.body) for f in board.frames if f.kind == wire.CHECK) >= 8000
    stream = board.start()
    assert stream["acquisition"] == "rp2_dma"  # the pins are inputs again
    board.chip.run(0.1)
    assert board.stop()["lost_conversions"] == 0
