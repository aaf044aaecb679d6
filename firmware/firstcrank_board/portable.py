"""Acquisition on any board with machine.ADC: reads the channels in turn, one bin at a time, from the main loop.

Slower than the converter and not uniform: every bin carries its own start, span and longest pause between two samples.
"""

from array import array

from .fast import NOT_HERE
from .fold import CHANNELS, FIRST, KEY, NO_KEY, OUT_AT, PARAMS, SAMPLES, TRIGGER

if 0:  # for mypy alone: compiled to nothing
    from typing import Sequence

    from board_types import Adc, Clock, Config, Fold, Table

    from .bin_ring import BinRing

try:
    from .fold_viper import fold
except NOT_HERE:
    from .fold import fold

MOST_SAMPLES = 4096
LEAST_SAMPLES = 20  # more than those of one pass of the loop: a bin that is full would let none be taken till it is folded


class PortableAcquisition:
    """One per recording. `clock` gives ticks_us() and ticks_diff(a, b); `adcs` one object with read_u16() per channel."""

    conversion_ns = 0  # not uniform: the host goes by ticks
    own_loop = True  # samples inside poll(), so the link must be fed in small pieces
    lost_conversions = 0
    why: "str | None" = None  # why it is not a faster one, where one was wished for

    def __init__(self, clock: "Clock", adcs: "Sequence[Adc]", name: str = "portable", fold: "Fold" = fold) -> None:
        self.name = name
        self._clock = clock
        self._adcs = adcs
        self._fold = fold
        self._running = False

    def start(self, config: "Config", ring: "BinRing") -> None:
        """Times a few samples of all inputs, so that a bin holds about `bin_us`; `config` has bin_us, key_channel, trigger_code."""
        self._ring = ring
        count = len(self._adcs)
        trial = 16
        before = self._clock.ticks_us()
        for _ in range(trial):
            for adc in self._adcs:
                adc.read_u16()
        set_us = self._clock.ticks_diff(self._clock.ticks_us(), before) / trial
        samples = int(config["bin_us"] / set_us) if set_us > 0 else MOST_SAMPLES
        self.samples = min(max(samples, LEAST_SAMPLES), MOST_SAMPLES)
        self._total = count * self.samples
        self._codes = array("H", bytes(2 * self._total))
        self._others = array("H", bytes(2 * self._total))
        self._at = 0
        self._begin_us = self._gap_us = 0
        self._params = array("i", bytes(4 * PARAMS))
        self._params[FIRST] = 0
        self._params[SAMPLES] = self.samples
        self._params[CHANNELS] = count
        self._params[KEY] = config["key_channel"] if config["key_channel"] >= 0 else NO_KEY
        self._params[TRIGGER] = config["trigger_code"]
        self._spare = bytearray(ring.bin_bytes)
        self._low = 0
        self._high = 0
        self._last_us = self._clock.ticks_us()
        self._running = True

    def sample(self) -> None:
        """One sample more of each input for the bin that is being filled: between the loop's other work, so that no pause is long."""
        if self._running and self._at < self._total:
            self._sample(self._at + len(self._adcs))

    def poll(self) -> None:
        """Samples what the bin still lacks, and folds it."""
        if not self._running:
            return
        self._sample(self._total)
        end_us = self._clock.ticks_us()
        begin_us, gap_us = self._begin_us, self._gap_us
        codes, self._codes = self._codes, self._others
        self._others = codes
        self._at = 0
        self.sample()
        ring, params = self._ring, self._params
        slot = ring.slot()
        params[OUT_AT] = slot if slot >= 0 else 0
        self._fold(codes, ring.bins if slot >= 0 else self._spare, params)
        self.sample()
        if slot >= 0:
            span_us = self._clock.ticks_diff(end_us, begin_us)
            ring.commit(self._low, self._high, begin_us & 0x3FFFFFFF, span_us, gap_us, self.samples)
        self._low += self._total
        if self._low >= 0x40000000:
            self._low -= 0x40000000
            self._high += 1

    def _sample(self, upto: int) -> None:
        """Fills the bin's codes up to `upto`, one sample of each input at a time."""
        ticks_us, ticks_diff = self._clock.ticks_us, self._clock.ticks_diff
        codes, adcs = self._codes, self._adcs
        at, last_us = self._at, self._last_us
        if at == 0:
            self._begin_us = ticks_us()
            self._gap_us = 0
        gap_us = self._gap_us
        while at < upto:
            now_us = ticks_us()
            step_us = ticks_diff(now_us, last_us)
            if step_us > gap_us:
                gap_us = step_us
            last_us = now_us
            for adc in adcs:
                codes[at] = adc.read_u16() >> 4
                at += 1
        self._at, self._last_us, self._gap_us = at, last_us, gap_us

    def stop(self) -> None:
        """Safe in every state."""
        self._running = False

    def conversions(self) -> int:
        """Conversions made since the start, all channels."""
        return (self._high << 30) + self._low

    def describe(self) -> "Table":
        """What STREAM reports of this acquisition."""
        body = {"acquisition": self.name, "conversion_ns": 0, "conversions_per_bin": self.samples}
        if self.why:
            body["acquisition_why"] = self.why
        return body
