"""Close-ups in the interrupt: notes the edges that `scan` found and copies the conversions round them, compiled.

One call copies at most as many conversions as a segment has, so that no edge makes the interrupt long: the copy lags behind the
edge by what it reaches back, and the segments hold that much (behind the oldest wanted conversion lie two segments and more).
Everything is copied in groups of eight conversions. The index's layout: close_up.py; the state's: rp2_service.py.
"""

import micropython
from micropython import const

try:
    from .edge_thumb import pack, unpack
except (ImportError, SyntaxError, NameError, AttributeError, ValueError):  # an interpreter without the Thumb assembler
    from .edge_viper import pack, unpack

# of rp2_service's state; the compiler takes numbers from its own file alone
EDGES = const(11)
EDGES_AT = const(13)
MISSED = const(15)
RAW_AT = const(16)
SEGMENTS = const(17)
SEGMENT_BYTES = const(18)
SEGMENT_US = const(19)
TIMER_AT = const(22)
CLOSE_UPS_AT = const(36)
NEXT = const(38)
NEXT_US = const(39)
LOW = const(40)
HIGH = const(41)
SINCE = const(55)
# of close_up's index
ACTIVE = const(0)
POOL_AT = const(1)
POOL_SIZE = const(2)
PRODUCED = const(3)
RELEASED = const(4)
WINDOWS_MADE = const(5)
WINDOWS_RELEASED = const(6)
EDGES_MADE = const(7)
EDGES_RELEASED = const(8)
HAVE = const(9)
WANT = const(10)
PRE = const(11)
POST = const(12)
DROPPED = const(13)
POOL_HEAD = const(14)
LIMIT = const(15)
SOURCE = const(16)
BEHIND = const(17)
WINDOW_TABLE = const(18)
EDGE_TABLE = const(58)

WRAP = const(0x3FFFFFFF)
TIGHT = const(64)  # conversions that the copy must keep ahead of the DMA


@micropython.viper
def copy_codes(pool_in, at: int, size: int, plain_in, plain_at: int, codes: int):
    """close_up.copy_codes, compiled: `at` and `size` are multiples of eight, `plain_at` is even. Up to seven codes more are written."""
    pool = int(ptr8(pool_in))
    target = int(ptr8(plain_in)) + plain_at
    groups = (codes + 7) >> 3
    first = (size - at) >> 3
    if first > groups:
        first = groups
    unpack(pool + ((at * 3) >> 1), target, first)
    if groups > first:
        unpack(pool, target + first * 16, groups - first)


@micropython.viper
def keep(s: ptr32, b: ptr32, count: int):
    """Copies the next `count` conversions, a multiple of eight, behind what the window has."""
    raw_size = s[SEGMENTS] * (s[SEGMENT_BYTES] >> 1)
    source = b[SOURCE]
    to = b[POOL_HEAD]
    left = count
    while left > 0:
        run = left
        if run > raw_size - source:
            run = raw_size - source
        if run > b[POOL_SIZE] - to:
            run = b[POOL_SIZE] - to
        pack(s[RAW_AT] + source * 2, b[POOL_AT] + ((to * 3) >> 1), run >> 3)
        source += run
        if source == raw_size:
            source = 0
        to += run
        if to == b[POOL_SIZE]:
            to = 0
        left -= run
    b[SOURCE] = source
    b[POOL_HEAD] = to
    b[PRODUCED] = (b[PRODUCED] + count) & WRAP
    b[HAVE] += count
    b[BEHIND] -= count


@micropython.viper
def close_window(index):
    """The window being filled is complete, or cannot be."""
    b = ptr32(index)
    if b[ACTIVE]:
        w = WINDOW_TABLE + ((b[WINDOWS_MADE] - 1) & 7) * 5
        b[w + 3] = b[HAVE]
        b[w + 4] = 1
        b[ACTIVE] = 0


@micropython.viper
def open_window(s: ptr32, b: ptr32, offset: int) -> int:
    """Begins a window for the edge at `offset` in this segment; 0 where there is no room."""
    conversions = s[SEGMENT_BYTES] >> 1
    pre = b[PRE]
    if pre > s[SINCE] + offset:
        pre = s[SINCE] + offset  # there is nothing before
    source = s[NEXT] * conversions + offset - pre
    if source < 0:
        source += s[SEGMENTS] * conversions
    pre += source & 7
    source -= source & 7
    want = ((pre + b[POST] + 7) >> 3) << 3
    free = b[POOL_SIZE] - ((b[PRODUCED] - b[RELEASED]) & WRAP)
    if free < want:
        return 0
    if b[WINDOWS_MADE] - b[WINDOWS_RELEASED] >= 8:
        return 0
    low = s[LOW] + offset - pre
    high = s[HIGH]
    if low < 0:
        high -= 1
        low += WRAP  # 2**30 would be an object
        low += 1
    elif low > WRAP:
        high += 1
        low &= WRAP
    w = WINDOW_TABLE + (b[WINDOWS_MADE] & 7) * 5
    b[w] = low
    b[w + 1] = high
    b[w + 2] = b[POOL_HEAD]
    b[w + 3] = 0
    b[w + 4] = 0
    b[WINDOWS_MADE] += 1
    b[HAVE] = 0
    b[LIMIT] = free
    b[WANT] = want
    b[SOURCE] = source
    b[BEHIND] = conversions - offset + pre
    b[ACTIVE] = 1
    return 1


@micropython.viper
def note_edge(s: ptr32, b: ptr32, edge: int):
    """Writes an edge into the index and lets its window reach far enough; one that finds no room is counted."""
    if b[EDGES_MADE] - b[EDGES_RELEASED] >= 32:
        b[DROPPED] += 1
        return
    low = s[LOW] + (edge >> 1)
    # from the window's start to this edge: modulo 2**30 is enough, a window is short
    place = (low - b[WINDOW_TABLE + ((b[WINDOWS_MADE] - 1) & 7) * 5]) & WRAP
    if place >= b[LIMIT]:
        b[DROPPED] += 1
        return
    e = EDGE_TABLE + (b[EDGES_MADE] & 31) * 4
    b[e + 1] = s[HIGH]
    if low > WRAP:
        b[e + 1] += 1
    b[e] = low & WRAP
    b[e + 2] = edge & 1
    b[e + 3] = b[WINDOWS_MADE] - 1
    b[EDGES_MADE] += 1
    want = ((place + b[POST] + 7) >> 3) << 3
    if want > b[LIMIT]:
        want = b[LIMIT]
    if want > b[WANT]:
        b[WANT] = want


@micropython.viper
def follow(s: ptr32):
    """Notes this segment's edges and copies some of what their window still wants."""
    b = ptr32(s[CLOSE_UPS_AT])
    edges = ptr32(s[EDGES_AT])
    conversions = s[SEGMENT_BYTES] >> 1
    b[DROPPED] += s[MISSED]
    s[MISSED] = 0
    if b[ACTIVE]:
        b[BEHIND] += conversions
    n = 0
    while n < s[EDGES]:
        if b[ACTIVE] == 0:
            if int(open_window(s, b, edges[n] >> 1)) == 0:
                b[DROPPED] += s[EDGES] - n
                return
        note_edge(s, b, edges[n])
        n += 1
    if b[ACTIVE] == 0:
        return
    timer = ptr32(s[TIMER_AT])
    late = (((timer[0] & WRAP) - s[NEXT_US]) & WRAP) - s[SEGMENT_US]
    if b[BEHIND] + (late >> 1) + TIGHT > conversions * s[SEGMENTS]:
        close_window(b)  # the interrupt was held up: what comes next is being overwritten
        return
    count = b[WANT] - b[HAVE]
    if count > b[BEHIND]:
        count = b[BEHIND]
    if count > conversions:
        count = conversions
    count = (count >> 3) << 3
    keep(s, b, count)
    b[WINDOW_TABLE + ((b[WINDOWS_MADE] - 1) & 7) * 5 + 3] = b[HAVE]
    if b[HAVE] >= b[WANT]:
        close_window(b)
