"""Waiting for the crank: the ring keeps the newest bins, and the sag of the starter's inrush starts the recording by itself.

A starter takes hundreds of amperes for its first tenth of a second, so the battery falls by volts within milliseconds; lamps,
glow plugs and pumps take tens. The trigger is a fall of the battery's bin mean to SAG of its slow average: common practice, no
source. A trigger too many costs nothing (the host judges), so it is set early.
"""

from . import bin_ring

if 0:  # for mypy alone: compiled to nothing
    from .bin_ring import BinRing

SAG_NUMERATOR, SAG_DENOMINATOR = 9, 10
SLOW = 64  # blocks that the average runs over
LEAST_REST = 16 * 300  # mean in 1/16 code below which there is no battery to watch


class SagWatch:
    """Looks at the battery in the ring's newest block. `channel` is the battery's number."""

    def __init__(self, ring: "BinRing", channel: int) -> None:
        self._ring = ring
        self._word = channel * 6
        self._seen = ring.index[bin_ring.HEAD]
        self._rest = 0  # SLOW times the average

    def sagged(self) -> bool:
        """True when a block since the last call shows the inrush."""
        ring = self._ring
        head = ring.index[bin_ring.HEAD]
        capacity = ring.index[bin_ring.CAPACITY]
        while self._seen != head:
            at = self._seen * ring.block_bytes + self._word
            lowest = 65535
            for _ in range(ring.group):
                mean = ring.bins[at] | ring.bins[at + 1] << 8
                if mean < lowest:
                    lowest = mean
                at += ring.bin_bytes
            self._seen = 0 if self._seen + 1 == capacity else self._seen + 1
            if not self._rest:
                self._rest = lowest * SLOW
            if self._rest >= LEAST_REST * SLOW and lowest * SAG_DENOMINATOR * SLOW < self._rest * SAG_NUMERATOR:
                return True
            self._rest += lowest - self._rest // SLOW
        return False
