"""What is lost between board and computer while a recording goes on, as lines of the log, once for each loss."""

from __future__ import annotations

from firstcrank.log import logger
from firstcrank.wire_bodies import BinsHead

LOG = logger(__name__)
COUNTERS = ("lost_conversions", "lost_bins", "short_writes")


class LossLog:
    """Follows the sequence numbers of one recording's frames, and the board's own counters in its bins."""

    def __init__(self) -> None:
        self._sequence: int | None = None
        self._counters = dict.fromkeys(COUNTERS, 0)

    def frame(self, sequence: int) -> None:
        """A frame that arrived."""
        if self._sequence is not None and sequence > self._sequence + 1:
            LOG.warning("frames %d to %d did not arrive", self._sequence + 1, sequence - 1)
        self._sequence = max(sequence, self._sequence or 0)

    def counters(self, head: BinsHead) -> None:
        """The head of a frame of bins."""
        for name in COUNTERS:
            count = int(getattr(head, name))
            if count > self._counters[name]:
                LOG.warning("the board counts %d %s, %d more", count, name.replace("_", " "), count - self._counters[name])
            self._counters[name] = count
