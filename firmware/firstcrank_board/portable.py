"""Acquisition on any board with machine.ADC: reads the channels in turn, one bin at a time, from the main loop.

Slower than the converter and not uniform: every bin carries its own start, span and longest pause between two looks.
"""

from array import array

from .fast import NOT_HERE
from .fold import CHANNELS, FIRST, KEY, NO_KEY, OUT_AT, PARAMS, SETS, TRIGGER

try:
    from .fold_viper import fold
except NOT_HERE:
    from .fold import fold

MOST_SETS = 4096


class PortableAcquisition:
    """One per recording. `clock` gives ticks_us() and ticks_diff(a, b); `adcs` one object with read_u16() per channel."""

    conversion_ns = 0  # not uniform: the host goes by ticks
    own_loop = True  # samples inside poll(), so the link must be fed in small pieces
    lost_conversions = 0

    def __init__(self, clock, adcs, name="portable", fold=fold):
        self.name = name
        self._clock = clock
        self._adcs = adcs
        self._fold = fold
        self._running = False

    def start(self, config, ring):
        """Times a few sets, so that a bin holds about `bin_us`; `config` has bin_us, key_channel, trigger_code."""
        self._ring = ring
        count = len(self._adcs)
        trial = 16
        before = self._clock.ticks_us()
        for _ in range(trial):
            for adc in self._adcs:
                adc.read_u16()
        set_us = self._clock.ticks_diff(self._clock.ticks_us(), before) / trial
        sets = int(config["bin_us"] / set_us) if set_us > 0 else MOST_SETS
        self.sets = min(max(sets, 1), MOST_SETS)
        self._codes = array("H", bytes(2 * count * self.sets))
        self._params = array("i", bytes(4 * PARAMS))
        self._params[FIRST] = 0
        self._params[SETS] = self.sets
        self._params[CHANNELS] = count
        self._params[KEY] = config["key_channel"] if config["key_channel"] >= 0 else NO_KEY
        self._params[TRIGGER] = config["trigger_code"]
        self._spare = bytearray(ring.bin_bytes)
        self._low = 0
        self._high = 0
        self._last_us = self._clock.ticks_us()
        self._running = True

    def poll(self):
        """Samples and folds one bin."""
        if not self._running:
            return
        ticks_us, ticks_diff = self._clock.ticks_us, self._clock.ticks_diff
        codes, adcs = self._codes, self._adcs
        gap_us = 0
        last_us = self._last_us
        begin_us = now_us = ticks_us()
        at = 0
        for n in range(self.sets):
            if n:
                now_us = ticks_us()
            step_us = ticks_diff(now_us, last_us)
            if step_us > gap_us:
                gap_us = step_us
            last_us = now_us
            for adc in adcs:
                codes[at] = adc.read_u16() >> 4
                at += 1
        end_us = ticks_us()
        self._last_us = last_us
        slot = self._ring.slot()
        params = self._params
        params[OUT_AT] = slot if slot >= 0 else 0
        self._fold(codes, self._ring.bins if slot >= 0 else self._spare, params)
        if slot >= 0:
            self._ring.commit(self._low, self._high, begin_us & 0x3FFFFFFF, ticks_diff(end_us, begin_us), gap_us, self.sets)
        self._low += at
        if self._low >= 0x40000000:
            self._low -= 0x40000000
            self._high += 1

    def stop(self):
        """Safe in every state."""
        self._running = False

    def conversions(self):
        """Conversions made since the start, all channels."""
        return (self._high << 30) + self._low

    def describe(self):
        """What STREAM says of this acquisition."""
        return {"acquisition": self.name, "conversion_ns": 0, "conversions_per_bin": self.sets}
