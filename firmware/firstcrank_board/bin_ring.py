"""Finished bins between the acquisition (writer) and the main loop (reader).

Bins lie in blocks of `group` neighbours that share one set of headers; a writer that is called once a bin has group 1. One writer,
which may be an interrupt callback, and one reader. Nobody allocates after the ring is made. All counters that both sides use
are words of `index` and `headers`, so that compiled code can use them through their addresses (rp2_service.py does).

A full ring drops the newest block and counts its bins in `lost_bins`. While nobody listens (`keep_newest`) it drops the oldest
instead and counts nothing: the last seconds before a crank are what matters then.
"""

from array import array

if 0:  # for mypy alone: compiled to nothing
    from board_types import Words

# the ring's index
# head: writer's; tail: reader's, or writer's in KEEP_NEWEST
HEAD, TAIL, CAPACITY, LOST, KEEP_NEWEST, FORGOTTEN = 0, 1, 2, 3, 4, 5
SAME_SPAN, SAME_GAP, SAME_CONVERSIONS = 6, 7, 8  # of every block, where a block has only three headers
INDEX_WORDS = 9
# headers of a block; the last three only where blocks differ in them
FIRST_LOW, FIRST_HIGH, TICKS, SPAN, GAP, CONVERSIONS = 0, 1, 2, 3, 4, 5  # conversion index in two times 30 bits: small integers
HEADER_WORDS = 6
UNIFORM_HEADER_WORDS = 3
SLACK_US = 300  # a pause longer than this between two blocks starts a new frame, so that the host sees it


class BinRing:
    """`capacity` blocks of `group` bins of `bin_bytes`."""

    def __init__(
        self,
        capacity: int,
        bin_bytes: int,
        group: int = 1,
        uniform: bool = False,
        bins: "bytearray | None" = None,
        headers: "Words | None" = None,
    ) -> None:
        self.bin_bytes = bin_bytes
        self.group = group
        self.block_bytes = bin_bytes * group
        self.bins = bytearray(capacity * self.block_bytes) if bins is None else bins
        self.header_words = UNIFORM_HEADER_WORDS if uniform else HEADER_WORDS
        self.headers = array("i", bytes(4 * self.header_words * capacity)) if headers is None else headers
        self.index = array("i", bytes(4 * INDEX_WORDS))
        self.index[CAPACITY] = capacity

    @property
    def lost_bins(self) -> int:
        """Bins folded and never kept for sending."""
        return self.index[LOST]

    @property
    def tail(self) -> int:
        """Block that the reader takes next."""
        return self.index[TAIL]

    def lose_waiting(self) -> None:
        """Gives up all that waits and counts it."""
        self.index[LOST] += self.waiting()
        self.index[TAIL] = self.index[HEAD]

    def keep_newest(self, wanted: bool) -> None:
        """From now on a full ring drops the oldest block (True) or the newest (False)."""
        self.index[KEEP_NEWEST] = 1 if wanted else 0

    def forget_oldest_but(self, count: int) -> None:
        """Gives up all but the newest `count` blocks. The reader calls it, with KEEP_NEWEST off."""
        over = self.waiting() // self.group - count
        if over > 0:
            self.index[FORGOTTEN] += over * self.group
            self.take(over)

    def forget_oldest(self, room: int) -> None:
        """Leaves at least `room` blocks free, the oldest given up for it. The reader calls it, with KEEP_NEWEST off."""
        index = self.index
        over = self.waiting() // self.group + 1 + room - index[CAPACITY]
        if over > 0:
            index[FORGOTTEN] += over * self.group
            self.take(over)

    def slot(self) -> int:
        """Byte offset for the next block, or -1 where the ring is full (counted as lost)."""
        index = self.index
        following = index[HEAD] + 1
        if following == index[CAPACITY]:
            following = 0
        if following == index[TAIL]:
            if not index[KEEP_NEWEST]:
                index[LOST] += self.group
                return -1
            index[FORGOTTEN] += self.group
            tail = following + 1
            index[TAIL] = 0 if tail == index[CAPACITY] else tail
        return index[HEAD] * self.block_bytes

    def commit(self, first_low: int, first_high: int, ticks_us: int, span_us: int, gap_us: int, conversions: int) -> None:
        """The block at the last `slot` is complete."""
        index, headers = self.index, self.headers
        at = index[HEAD]
        word = at * self.header_words
        headers[word] = first_low
        headers[word + 1] = first_high
        headers[word + 2] = ticks_us
        if self.header_words == HEADER_WORDS:
            headers[word + 3] = span_us
            headers[word + 4] = gap_us
            headers[word + 5] = conversions
        at += 1
        index[HEAD] = 0 if at == index[CAPACITY] else at

    def header(self, block: int, which: int) -> int:
        """One value of a block's header."""
        if which >= self.header_words:
            return self.index[SAME_SPAN + which - SPAN]
        return self.headers[block * self.header_words + which]

    def waiting(self) -> int:
        """How many bins wait to be sent."""
        count = self.index[HEAD] - self.index[TAIL]
        return (count if count >= 0 else count + self.index[CAPACITY]) * self.group

    def uniform(self, most: int) -> int:
        """How many blocks at the tail can share one frame of `most` bins: neighbours in time and memory, alike in conversions."""
        tail = self.index[TAIL]
        count = self.index[HEAD] - tail
        if count < 0:
            count = self.index[CAPACITY] - tail
        if count * self.group > most:
            count = max(most // self.group, 1)
        headers, words = self.headers, self.header_words
        varies = words == HEADER_WORDS
        word = tail * words
        span_us = self.index[SAME_SPAN]
        if not varies and count > 1:  # pauses only add up: where the whole has none, no part has
            whole_us = (headers[word + (count - 1) * words + TICKS] - headers[word + TICKS]) & 0x3FFFFFFF
            if whole_us <= (count - 1) * span_us + SLACK_US:
                return count
        for n in range(1, count):
            following = word + words
            if varies:
                span_us = headers[word + SPAN]
                if headers[following + CONVERSIONS] != headers[word + CONVERSIONS]:
                    return n
            if (headers[following + TICKS] - headers[word + TICKS]) & 0x3FFFFFFF > span_us + SLACK_US:
                return n
            word = following
        return count

    def take(self, count: int) -> None:
        """The reader is done with `count` blocks."""
        at = self.index[TAIL] + count
        self.index[TAIL] = at - self.index[CAPACITY] if at >= self.index[CAPACITY] else at
