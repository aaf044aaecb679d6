"""What the key feed does in one start, from coarse bins and their run lengths. Codes and microseconds only."""

from .start_tracker import AFTER, CRANK, RUN

if 0:  # for mypy alone: compiled to nothing
    from board_types import Dropout, Table

RISE_US = 100000  # contacts may bounce for so long when the key is turned on
MOST_DROPOUTS = 24


class FeedWatch:
    """Call `bin` for every bin from key on. `dropouts` are (begin, length, lowest code); `too_many` where there were more."""

    def __init__(self, table: "Table") -> None:
        self.table = table
        self.dropouts: "list[Dropout]" = []
        self.too_many = False
        self.count = 0
        self.grazed = False  # live, and closer to the module's minimum than can be decided
        self.drops = {RUN: [0, 0], CRANK: [0, 0], AFTER: [0, 0]}  # sum of the steady drop in 1/16 code, bins
        self.open_us = 0  # below and not back yet
        self._fresh = True
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
        if self._fresh:  # the key came on within this bin: what was below before is no loss
            self._fresh = False
            longest, head = (tail if longest == head else longest), 0
        if longest or self.open_us:
            self._runs(now_us, since_on_us, lowest_code, longest, head, tail, span_us, conversions)
            return
        table = self.table
        if since_on_us < RISE_US or key16 < table["off16"]:
            return
        if key16 < table["minimum_pass16"]:
            self.grazed = True
        entry = self.drops[state]
        entry[0] += (source16 * table["ratio4096"] >> 12) + table["offset16"] - key16
        entry[1] += 1

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
            self._close(since_on_us)
        if longest > head and longest > tail:
            self._more(now_us, span_us * longest // conversions, lowest_code)
            self._close(since_on_us)
        if tail:
            length_us = span_us * tail // conversions
            self._more(now_us + span_us - length_us, length_us, lowest_code)

    def _more(self, at_us: int, length_us: int, lowest_code: int) -> None:
        if not self.open_us:
            self._open_at = at_us
            self._open_lowest = lowest_code
        self.open_us += length_us
        self._open_lowest = min(self._open_lowest, lowest_code)

    def _close(self, since_on_us: int) -> None:
        length_us, self.open_us = self.open_us, 0
        if since_on_us < RISE_US and length_us < self.table["bounce_us"]:
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
