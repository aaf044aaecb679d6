"""Finished bins between the acquisition (writer) and the main loop (reader).

One writer, which may be an interrupt callback, and one reader. The writer calls `slot`, fills it, then `commit`; neither
allocates. A full ring drops the newest bin and counts it in `lost_bins`: what is already there is older and was seen.
"""

from array import array


class BinRing:
    """`capacity` bins of `bin_bytes`. Beside each bin stands what a BINS frame says of it."""

    def __init__(self, capacity, bin_bytes):
        self.capacity = capacity
        self.bin_bytes = bin_bytes
        self.bins = bytearray(capacity * bin_bytes)
        self.first_low = array("I", bytes(4 * capacity))  # conversion index, low and high 30 bits: small integers
        self.first_high = array("I", bytes(4 * capacity))
        self.ticks_us = array("I", bytes(4 * capacity))
        self.span_us = array("I", bytes(4 * capacity))
        self.gap_us = array("I", bytes(4 * capacity))
        self.conversions = array("I", bytes(4 * capacity))
        self.clear()

    def clear(self):
        """Forgets all bins and the count of lost ones."""
        self.head = 0  # next to write; only the writer moves it
        self.tail = 0  # next to read; only the reader moves it
        self.lost_bins = 0

    def slot(self):
        """Byte offset for the next bin, or -1 where the ring is full (counted as lost)."""
        following = self.head + 1
        if following == self.capacity:
            following = 0
        if following == self.tail:
            self.lost_bins += 1
            return -1
        return self.head * self.bin_bytes

    def commit(self, first_low, first_high, ticks_us, span_us, gap_us, conversions):
        """The bin at the last `slot` is complete."""
        at = self.head
        self.first_low[at] = first_low
        self.first_high[at] = first_high
        self.ticks_us[at] = ticks_us
        self.span_us[at] = span_us
        self.gap_us[at] = gap_us
        self.conversions[at] = conversions
        at += 1
        self.head = 0 if at == self.capacity else at

    def waiting(self):
        """How many bins wait to be sent."""
        count = self.head - self.tail
        return count if count >= 0 else count + self.capacity

    def uniform(self, most):
        """How many bins at the tail can share one frame: neighbours in time and memory with equal conversions."""
        count = self.waiting()
        if count > most:
            count = most
        if count > self.capacity - self.tail:
            count = self.capacity - self.tail
        if count < 2:
            return count
        at = self.tail
        for n in range(1, count):
            here = at + n
            before = here - 1
            elapsed_us = (self.ticks_us[here] - self.ticks_us[before]) & 0x3FFFFFFF
            if self.conversions[here] != self.conversions[at] or elapsed_us > self.span_us[before] + SLACK_US:
                return n
        return count

    def take(self, count):
        """The reader is done with `count` bins."""
        at = self.tail + count
        self.tail = at - self.capacity if at >= self.capacity else at


SLACK_US = 300  # a pause longer than this between two bins starts a new frame, so that the host sees it
