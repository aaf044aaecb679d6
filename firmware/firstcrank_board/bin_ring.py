"""Finished bins between the acquisition (writer) and the main loop (reader).

Bins lie in blocks of `group` neighbours that share one set of facts; a writer that is called once a bin has group 1. One writer,
which may be an interrupt callback, and one reader. Nobody allocates after the ring is made. All counters that both sides use
are words of `marks` and `facts`, so that compiled code can use them through their addresses (rp2_service.py does).

A full ring drops the newest block and counts its bins in `lost_bins`. While nobody listens (`keep_newest`) it drops the oldest
instead and counts nothing: the last seconds before a crank are what matters then.
"""

from array import array

if 0:  # for mypy alone: compiled to nothing
    from board_types import Words

# marks
HEAD, TAIL, CAPACITY, LOST, KEEP_NEWEST, FORGOTTEN = (
    0,
    1,
    2,
    3,
    4,
    5,
)  # head: writer's; tail: reader's, or writer's in KEEP_NEWEST
SAME_SPAN, SAME_GAP, SAME_CONVERSIONS = 6, 7, 8  # of every block, where a block has only three facts
MARKS = 9
# facts of a block; the last three only where blocks differ in them
FIRST_LOW, FIRST_HIGH, TICKS, SPAN, GAP, CONVERSIONS = 0, 1, 2, 3, 4, 5  # conversion index in two times 30 bits: small integers
FACTS = 6
UNIFORM_FACTS = 3
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
        facts: "Words | None" = None,
    ) -> None:
        self.bin_bytes = bin_bytes
        self.group = group
        self.block_bytes = bin_bytes * group
        self.bins = bytearray(capacity * self.block_bytes) if bins is None else bins
        self.header_words = UNIFORM_FACTS if uniform else FACTS
        self.facts = array("i", bytes(4 * self.header_words * capacity)) if facts is None else facts
        self.marks = array("i", bytes(4 * MARKS))
        self.marks[CAPACITY] = capacity

    @property
    def lost_bins(self) -> int:
        """Bins folded and never kept for sending."""
        return self.marks[LOST]

    @property
    def tail(self) -> int:
        """Block that the reader takes next."""
        return self.marks[TAIL]

    def lose_waiting(self) -> None:
        """Gives up all that waits and counts it."""
        self.marks[LOST] += self.waiting()
        self.marks[TAIL] = self.marks[HEAD]

    def keep_newest(self, wanted: bool) -> None:
        """From now on a full ring drops the oldest block (True) or the newest (False)."""
        self.marks[KEEP_NEWEST] = 1 if wanted else 0

    def forget_oldest_but(self, count: int) -> None:
        """Gives up all but the newest `count` blocks. The reader calls it, with KEEP_NEWEST off."""
        over = self.waiting() // self.group - count
        if over > 0:
            self.marks[FORGOTTEN] += over * self.group
            self.take(over)

    def forget_oldest(self, room: int) -> None:
        """Leaves at least `room` blocks free, the oldest given up for it. The reader calls it, with KEEP_NEWEST off."""
        marks = self.marks
        over = self.waiting() // self.group + 1 + room - marks[CAPACITY]
        if over > 0:
            marks[FORGOTTEN] += over * self.group
            self.take(over)

    def slot(self) -> int:
        """Byte offset for the next block, or -1 where the ring is full (counted as lost)."""
        marks = self.marks
        following = marks[HEAD] + 1
        if following == marks[CAPACITY]:
            following = 0
        if following == marks[TAIL]:
            if not marks[KEEP_NEWEST]:
                marks[LOST] += self.group
                return -1
            marks[FORGOTTEN] += self.group
            tail = following + 1
            marks[TAIL] = 0 if tail == marks[CAPACITY] else tail
        return marks[HEAD] * self.block_bytes

    def commit(self, first_low: int, first_high: int, ticks_us: int, span_us: int, gap_us: int, conversions: int) -> None:
        """The block at the last `slot` is complete."""
        marks, facts = self.marks, self.facts
        at = marks[HEAD]
        word = at * self.header_words
        facts[word] = first_low
        facts[word + 1] = first_high
        facts[word + 2] = ticks_us
        if self.header_words == FACTS:
            facts[word + 3] = span_us
            facts[word + 4] = gap_us
            facts[word + 5] = conversions
        at += 1
        marks[HEAD] = 0 if at == marks[CAPACITY] else at

    def fact(self, block: int, which: int) -> int:
        """One fact of a block."""
        if which >= self.header_words:
            return self.marks[SAME_SPAN + which - SPAN]
        return self.facts[block * self.header_words + which]

    def waiting(self) -> int:
        """How many bins wait to be sent."""
        count = self.marks[HEAD] - self.marks[TAIL]
        return (count if count >= 0 else count + self.marks[CAPACITY]) * self.group

    def uniform(self, most: int) -> int:
        """How many blocks at the tail can share one frame of `most` bins: neighbours in time and memory, alike in conversions."""
        tail = self.marks[TAIL]
        count = self.marks[HEAD] - tail
        if count < 0:
            count = self.marks[CAPACITY] - tail
        if count * self.group > most:
            count = max(most // self.group, 1)
        facts, words = self.facts, self.header_words
        varies = words == FACTS
        word = tail * words
        span_us = self.marks[SAME_SPAN]
        if not varies and count > 1:  # pauses only add up: where the whole has none, no part has
            whole_us = (facts[word + (count - 1) * words + TICKS] - facts[word + TICKS]) & 0x3FFFFFFF
            if whole_us <= (count - 1) * span_us + SLACK_US:
                return count
        for n in range(1, count):
            following = word + words
            if varies:
                span_us = facts[word + SPAN]
                if facts[following + CONVERSIONS] != facts[word + CONVERSIONS]:
                    return n
            if (facts[following + TICKS] - facts[word + TICKS]) & 0x3FFFFFFF > span_us + SLACK_US:
                return n
            word = following
        return count

    def take(self, count: int) -> None:
        """The reader is done with `count` blocks."""
        at = self.marks[TAIL] + count
        self.marks[TAIL] = at - self.marks[CAPACITY] if at >= self.marks[CAPACITY] else at
