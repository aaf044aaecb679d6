"""What the key feed does in one start, from coarse bins and their run lengths. Codes and microseconds only."""

from .start_tracker import AFTER, CRANK, RUN

if 0:  # for mypy alone: compiled to nothing
    from board_types import Dropout, Table

RISE_US = 100000  # contacts may bounce for so long when the key is turned on
MOST_DROPOUTS = 24
MOST_UNPROVED = 8
HIDDEN = 100  # a part in so many of the feed's level that a bin's mean may lack beside the losses that it shows


class FeedWatch:
    """Call `bin` for every bin from key on. `dropouts` are (begin, length, lowest code); `too_many` where there were more."""

    def __init__(self, table: "Table") -> None:
        self.table = table
        self.dropouts: "list[Dropout]" = []
        self.too_many = False
        self.count = 0
        self.vague = False  # blinked as the key came on, so that it can't be told whether that was its one bounce
        self.grazed = False  # live, and closer to the module's minimum than can be decided
        self.drops = {RUN: [0, 0], CRANK: [0, 0], AFTER: [0, 0]}  # sum of the steady drop in 1/16 code, bins
        self.open_us = 0  # below and not back yet
        self._fresh = True
        self.bounced = False  # once, as the key came on
        self._unproved: "list[tuple[int, int, int]]" = []
        self._open_at = 0
        self._open_lowest = 0

    def bin(
        self,
        state: str,
        now_us: int,
        since_on_us: int,
        source16: int,
        key16: int,
        lowest_code: int,
        runs: "tuple[int, int, int]",
        span_us: int,
        conversions: int,
    ) -> None:
        """`runs`: longest, at the start, at the end, in conversions of this bin's `conversions`."""
        longest, head, tail = runs
        table = self.table
        level16 = (source16 * table["ratio4096"] >> 12) + table["offset16"]
        if longest and state != CRANK:
            low = longest + (head if head != longest else 0) + (tail if tail != longest and tail != head else 0)
            self._remember(level16, key16, level16 * (conversions - low) // conversions)
        if self._fresh and not self.bounced:  # the key came on within this bin: what was below before is no loss
            longest, head = (tail if longest == head else longest), 0
        self._fresh = False
        if longest or self.open_us:
            self._runs(now_us, since_on_us, lowest_code, longest, head, tail, span_us, conversions)
            return
        if key16 > table["live16"]:
            self._prove(level16 - key16)
        if since_on_us < RISE_US or key16 < table["off16"]:
            return
        if key16 < table["minimum_pass16"]:
            self.grazed = True
        entry = self.drops[state]
        entry[0] += level16 - key16
        entry[1] += 1

    def _remember(self, level16: int, key16: int, shown16: int) -> None:
        """A bin with losses: `shown16` is the mean that they leave of the source's level. What else it lacks the next good bin tells."""
        if len(self._unproved) < MOST_UNPROVED:
            self._unproved.append((level16, key16, shown16))
        else:
            self.vague = True

    def _prove(self, drop16: int) -> None:
        """A bin shows its longest loss and those at its ends: where its mean lacks more, by the drop of a good bin, others hide there."""
        for level16, key16, shown16 in self._unproved:
            if shown16 - drop16 - key16 > level16 // HIDDEN:
                self.vague = True
        self._unproved.clear()

    def _runs(
        self,
        now_us: int,
        since_on_us: int,
        lowest_code: int,
        longest: int,
        head: int,
        tail: int,
        span_us: int,
        conversions: int,
    ) -> None:
        if head >= conversions:  # below all through
            self._more(now_us, span_us, lowest_code)
            return
        if self.open_us or head:
            self._more(now_us, span_us * head // conversions, lowest_code)
            self._close(since_on_us, span_us)
        if longest > head and longest > tail:
            self._more(now_us, span_us * longest // conversions, lowest_code)
            self._close(since_on_us, span_us)
        if tail:
            length_us = span_us * tail // conversions
            self._more(now_us + span_us - length_us, length_us, lowest_code)

    def _more(self, at_us: int, length_us: int, lowest_code: int) -> None:
        if not self.open_us:
            self._open_at = at_us
            self._open_lowest = lowest_code
        self.open_us += length_us
        self._open_lowest = min(self._open_lowest, lowest_code)

    def _close(self, since_on_us: int, span_us: int) -> None:
        length_us, self.open_us = self.open_us, 0
        if since_on_us < RISE_US + span_us and length_us < self.table["bounce_us"]:
            if self.bounced or since_on_us + 2 * span_us > RISE_US:  # ON and the loss are each known to a bin only
                self.vague = self.vague or length_us >= self.table["dropout_min_us"]
            self.bounced = True
            return
        self.count += 1
        if len(self.dropouts) < MOST_DROPOUTS:
            self.dropouts.append((self._open_at, length_us, self._open_lowest))
        else:
            self.too_many = True
            self._keep_worst((self._open_at, length_us, self._open_lowest))

    def _keep_worst(self, dropout: "Dropout") -> None:
        """The first stays, and of the others the longest: a feed that chatters for hours does not hide one long loss."""
        shortest = 1
        for n in range(2, MOST_DROPOUTS):
            if self.dropouts[n][1] < self.dropouts[shortest][1]:
                shortest = n
        if dropout[1] > self.dropouts[shortest][1]:
            del self.dropouts[shortest]
            self.dropouts.append(dropout)  # in the order in which they came

    def report(self) -> "Table":
        """For the capture's END: how many losses there were, the first and the longest as (begin, length, lowest code)."""
        if not self.dropouts:
            return {}
        worst = max(self.dropouts, key=lambda dropout: dropout[1])
        return {"losses": self.count, "first_loss": self.dropouts[0], "longest_loss": worst}
