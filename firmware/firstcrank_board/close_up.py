"""Close-ups: the raw conversions of all channels around each edge of the key feed, copied aside while the bins go on.

The interrupt copies (rp2_edges.follow, with `index` as its memory); the main loop sends, piece by piece, when no bins are due.
Edges that lie close together share one window of the pool, so a bounce costs no more memory than a single edge. A window
begins PRE_US before its first edge and ends POST_US after its last. What finds no room is counted in `dropped`.
"""

import struct
from array import array

from . import wire

if 0:  # for mypy alone: compiled to nothing
    from board_types import CopyCodes

PRE_US, POST_US = 4000, 8000
GROUP = 8  # conversions that are copied together
WINDOWS, EDGES = 8, 32
PIECE_CODES = 1536

# index; rp2_edges has the same numbers
ACTIVE, POOL_AT, POOL_SIZE, PRODUCED, RELEASED, WINDOWS_MADE, WINDOWS_RELEASED = 0, 1, 2, 3, 4, 5, 6
EDGES_MADE, EDGES_RELEASED, HAVE, WANT, PRE, POST, DROPPED, POOL_HEAD, LIMIT = 7, 8, 9, 10, 11, 12, 13, 14, 15
# of the copy: where in the segments it goes on, and how far that is from the end of the last one folded
SOURCE, BEHIND = 16, 17
WINDOW_TABLE = 18  # WINDOWS times: first low, first high, place in the pool, length, closed
WINDOW_WORDS = 5
EDGE_TABLE = WINDOW_TABLE + WINDOWS * WINDOW_WORDS  # EDGES times: low, high, falling, window number
EDGE_WORDS = 4
INDEX_WORDS = EDGE_TABLE + EDGES * EDGE_WORDS


class CloseUps:
    """The pool and the index of one recording."""

    def __init__(self, conversion_ns: int, channels: int, copy: "CopyCodes", memory: bytearray) -> None:
        self._copy = copy
        self._channels = channels
        self.pool = memory  # two conversions in three bytes, the first in the low twelve bits
        self.index = array("i", bytes(4 * INDEX_WORDS))
        self.index[POOL_SIZE] = len(memory) * 2 // 3 // GROUP * GROUP
        self.index[PRE] = PRE_US * 1000 // conversion_ns
        self.index[POST] = POST_US * 1000 // conversion_ns
        self._sent = 0  # codes of the edge being sent
        self._found = False
        # Of the edge to send next, where _found: plain attributes, for a tuple would be an allocation at each piece.
        self._edge = self._falling = self._begin = self._count = self._place = 0

    def pending(self) -> bool:
        """True when an edge waits whole, or is half sent."""
        index = self.index
        while not self._found and index[EDGES_MADE] != index[EDGES_RELEASED]:
            if not self._find():
                return False
            if self._count > 0:
                self._found = True
            else:
                index[EDGES_RELEASED] += 1  # its conversions were overwritten before they could be copied
                index[DROPPED] += 1
        if not self._found:
            self._release_windows()
        return self._found

    @property
    def dropped(self) -> int:
        """Edges seen and not kept, because the pool was full."""
        return self.index[DROPPED]

    def _find(self) -> bool:
        """Looks up the edge to send next; False while it is incomplete."""
        index = self.index
        at = EDGE_TABLE + index[EDGES_RELEASED] % EDGES * EDGE_WORDS
        window = WINDOW_TABLE + index[at + 3] % WINDOWS * WINDOW_WORDS
        edge = (index[at + 1] << 30) + index[at]
        first = (index[window + 1] << 30) + index[window]
        end = min(first + index[window + 3], edge + index[POST])
        if not index[window + 4] and end < edge + index[POST]:
            return False
        begin = first + max(edge - index[PRE] - first, 0) // GROUP * GROUP
        self._edge, self._falling, self._begin = edge, index[at + 2], begin
        self._count = end - begin
        self._place = (index[window + 2] + begin - first) % index[POOL_SIZE]
        return True

    def put_piece(self, plain: bytearray) -> int:
        """Writes the body of the next CLOSE_UP frame behind the header in `plain`; returns where it ends. Only where one is pending."""
        sent = self._sent
        codes = min(PIECE_CODES, self._count - sent)
        last = sent + codes >= self._count
        struct.pack_into(
            wire.CLOSE_UP_FORMAT,
            plain,
            wire.HEADER_BYTES,
            self._edge,
            self._begin + sent,
            self.index[EDGES_RELEASED] & 0xFFFF,
            self._falling,
            1 if last else 0,
            self._channels,
            0,
            codes,
        )
        at = wire.HEADER_BYTES + wire.CLOSE_UP_BYTES
        self._copy(self.pool, (self._place + sent) % self.index[POOL_SIZE], self.index[POOL_SIZE], plain, at, codes)
        self._sent = sent + codes
        if last:
            self._sent = 0
            self._found = False
            self.index[EDGES_RELEASED] += 1
            self._release_windows()
        return at + 2 * codes

    def bytes_waiting(self) -> int:
        """About how many bytes of frames the edges not yet sent will take."""
        edges = self.index[EDGES_MADE] - self.index[EDGES_RELEASED]
        return edges * ((self.index[PRE] + self.index[POST]) * 2 + 256)

    def forget_before(self, conversion: int) -> None:
        """Gives up whole edges older than a conversion index, so that later ones find room. Not while one is half sent."""
        index = self.index
        while not self._sent and index[EDGES_MADE] != index[EDGES_RELEASED]:
            if not self._find() or self._edge >= conversion:
                break
            self._found = False
            index[EDGES_RELEASED] += 1
        self._release_windows()

    def _release_windows(self) -> None:
        """Gives the pool back for windows that are closed and whose edges have all gone."""
        index = self.index
        while index[WINDOWS_RELEASED] != index[WINDOWS_MADE]:
            number = index[WINDOWS_RELEASED]
            window = WINDOW_TABLE + number % WINDOWS * WINDOW_WORDS
            if not index[window + 4]:
                return
            if index[EDGES_RELEASED] != index[EDGES_MADE]:
                at = EDGE_TABLE + index[EDGES_RELEASED] % EDGES * EDGE_WORDS
                if index[at + 3] == number:
                    return
            index[RELEASED] = (index[RELEASED] + index[window + 3]) & 0x3FFFFFFF
            index[WINDOWS_RELEASED] = number + 1


def copy_codes(pool: bytearray, at: int, size: int, plain: bytearray, plain_at: int, codes: int) -> None:
    """codes of the pool from `at`, round its end, into bytes from `plain_at`: the plain twin of rp2_edges.copy_codes."""
    for _ in range(codes):
        byte = at * 3 >> 1
        code = pool[byte] >> 4 | pool[byte + 1] << 4 if at & 1 else pool[byte] | (pool[byte + 1] & 15) << 8
        plain[plain_at] = code & 255
        plain[plain_at + 1] = code >> 8
        plain_at += 2
        at += 1
        if at == size:
            at = 0
