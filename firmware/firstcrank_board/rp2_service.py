"""What the DMA interrupt does, compiled: folds the segments that are full, keeps the book, notes edges of the key feed.

Runs as a hard interrupt callback with the heap locked, so everything it uses lies in word arrays made before: `state` (indexes
below), the ring's marks and facts (bin_ring.py), and plain memory behind addresses. viper checks no bounds.

The data channel writes segment after segment; a second channel gives it the next segment's address and so starts it again
with its full count, all in hardware. No count ever comes near its end, however long the recording.
"""

import micropython
from micropython import const

try:
    from .fold_thumb import accumulate
except (ImportError, SyntaxError, NameError, AttributeError, ValueError):  # an interpreter without the Thumb assembler
    from .fold_viper import accumulate

# --- state, set up by rp2_dma ---
RAW_AT = const(0)  # address of the segments
SEGMENTS = const(1)
SEGMENT_BYTES = const(2)
SEGMENT_US = const(3)
WRITE_ADDR_AT = const(4)  # address of the data channel's WRITE_ADDR
FCS_AT = const(5)
TIMER_AT = const(6)
SETS = const(7)  # conversions per channel in one piece
CHANNELS = const(8)
KEY = const(9)  # channel of the key feed; CHANNELS or more: none
TRIGGER = const(10)
PIECES = const(11)  # pieces a bin is made of, one a segment; 1: a segment holds whole bins
BINS_A_SEGMENT = const(12)
ACC_AT = const(13)
SHAPE_AT = const(14)
MARKS_AT = const(15)
FACTS_AT = const(16)
BLOCKS_AT = const(17)
BLOCK_BYTES = const(18)
SPARE_AT = const(19)
EDGES_AT = const(20)  # scratch: offsets (in conversions from the segment's start) * 2 + falling
MOST_EDGES = const(21)
# --- state, kept by service ---
NEXT = const(22)  # segment to fold next
NEXT_US = const(23)  # when its first conversion began
LOW = const(24)  # index of its first conversion, low and high 30 bits
HIGH = const(25)
LOST = const(26)
OVERRUNS = const(27)
FIFO_OVERFLOWS = const(28)
STOPPED = const(29)  # 1 after a FIFO overflow, until rp2_dma starts again
PIECE = const(30)
LONGEST = const(31)
HEAD_RUN = const(32)
RUN = const(33)
HEAD_OPEN = const(34)
BELOW = const(35)  # 1 while the key feed is below the trigger code
EDGES = const(36)  # edges found in the segment just folded
BIN_LOW = const(37)
BIN_HIGH = const(38)
BIN_US = const(39)
CALLS = const(40)
OUT_AT = const(41)
RISE_AT = const(42)  # 1 more than where the feed came back, not yet confirmed by HYSTERESIS; 0: nowhere
WORST_US = const(43)  # longest time the callback took
CLOSE_UPS_AT = const(44)  # address of the close-ups' book, 0: none
BINS_A_BLOCK = const(45)
IN_BLOCK = const(46)  # bins of the current block that are done
STATE = const(47)

HYSTERESIS = const(12)  # codes above the trigger that confirm a recovery, so that noise on a slow edge is not many edges
FCS_OVER_BIT = const(0x800)
WRAP = const(0x3FFFFFFF)


@micropython.viper
def begin_block(s: ptr32):
    """Takes the next block of the ring, or the spare one where the ring is full and must keep what it has."""
    marks = ptr32(s[MARKS_AT])
    s[BIN_LOW] = s[LOW]
    s[BIN_HIGH] = s[HIGH]
    s[BIN_US] = s[NEXT_US]
    following = marks[0] + 1
    if following == marks[2]:
        following = 0
    if following == marks[1]:
        if marks[4] == 0:
            s[OUT_AT] = s[SPARE_AT]
            return
        marks[5] += s[BINS_A_BLOCK]
        following += 1
        if following == marks[2]:
            following = 0
        marks[1] = following
    s[OUT_AT] = s[BLOCKS_AT] + marks[0] * s[BLOCK_BYTES]


@micropython.viper
def end_block(s: ptr32):
    """The block is full: its facts are written and it belongs to the reader. One in the spare block is counted as lost."""
    marks = ptr32(s[MARKS_AT])
    if s[OUT_AT] - s[BLOCK_BYTES] == s[SPARE_AT]:
        marks[3] += s[BINS_A_BLOCK]
        return
    head = marks[0]
    facts = ptr32(s[FACTS_AT] + head * 12)
    facts[0] = s[BIN_LOW]
    facts[1] = s[BIN_HIGH]
    facts[2] = s[BIN_US]
    head += 1
    if head == marks[2]:
        head = 0
    marks[0] = head


@micropython.viper
def merge(s: ptr32):
    """Adds a piece's sums and extremes to those of its bin."""
    acc = ptr32(s[ACC_AT])
    words = s[CHANNELS] * 3
    whole = ptr32(s[ACC_AT] + words * 4)
    first = s[PIECE]
    i = 0
    while i < words:
        if first == 0:
            whole[i] = acc[i]
            whole[i + 1] = acc[i + 1]
            whole[i + 2] = acc[i + 2]
        else:
            whole[i] += acc[i]
            if acc[i + 1] < whole[i + 1]:
                whole[i + 1] = acc[i + 1]
            if acc[i + 2] > whole[i + 2]:
                whole[i + 2] = acc[i + 2]
        i += 3


@micropython.viper
def write_bin(s: ptr32):
    """The finished bin in wire.py's layout; OUT_AT moves on behind it."""
    out = ptr16(s[OUT_AT])
    words = s[CHANNELS] * 3
    pieces = s[PIECES]
    total = s[SETS] * pieces
    half = total >> 1
    whole = ptr32(s[ACC_AT])
    if pieces > 1:
        whole = ptr32(s[ACC_AT] + words * 4)
    i = 0
    while i < words:
        codes = whole[i]
        mean = codes // total
        out[i] = mean * 16 + ((codes - mean * total) * 16 + half) // total
        out[i + 1] = whole[i + 1]
        out[i + 2] = whole[i + 2]
        i += 3
    out[i] = s[LONGEST]
    out[i + 1] = s[HEAD_RUN]
    out[i + 2] = s[RUN]
    s[OUT_AT] += i * 2 + 6


@micropython.viper
def fold_segment(s: ptr32, codes_at: int):
    """Folds one segment into bins; `s` is the state."""
    sets = s[SETS]
    channels = s[CHANNELS]
    bins = s[BINS_A_SEGMENT]
    pieces = s[PIECES]
    trigger = s[TRIGGER]
    key = s[KEY]
    acc = ptr32(s[ACC_AT])
    n = 0
    while n < bins:
        codes = ptr16(codes_at)
        i = 0
        while i < channels:
            acc[3 * i] = 0
            acc[3 * i + 1] = codes[i]
            acc[3 * i + 2] = codes[i]
            i += 1
        if s[PIECE] == 0:
            s[LONGEST] = 0
            s[HEAD_RUN] = 0
            s[RUN] = 0
            s[HEAD_OPEN] = 1
            if s[IN_BLOCK] == 0:
                begin_block(s)
        accumulate(codes_at, s[ACC_AT], s[SHAPE_AT])
        if key < channels:
            if acc[3 * key + 1] >= trigger and s[BELOW] == 0:
                s[RUN] = 0
                s[HEAD_OPEN] = 0
            elif acc[3 * key + 2] < trigger and s[BELOW] == 1:
                s[RUN] += sets
                if s[RUN] > s[LONGEST]:
                    s[LONGEST] = s[RUN]
                if s[HEAD_OPEN]:
                    s[HEAD_RUN] = s[RUN]
                s[RISE_AT] = 0
            else:
                scan(s, codes_at, n)
        if pieces > 1:
            merge(s)
        s[PIECE] += 1
        if s[PIECE] == pieces:
            s[PIECE] = 0
            write_bin(s)
            s[IN_BLOCK] += 1
            if s[IN_BLOCK] == s[BINS_A_BLOCK]:
                s[IN_BLOCK] = 0
                end_block(s)
        codes_at += sets * channels * 2
        n += 1


@micropython.viper
def scan(s: ptr32, codes_at: int, n: int):
    """Runs and edges of the key feed in one piece, conversion by conversion: needed only where it crosses the trigger code."""
    channels = s[CHANNELS]
    trigger = s[TRIGGER]
    confirm = trigger + HYSTERESIS
    codes = ptr16(codes_at)
    i = s[KEY]
    end = i + s[SETS] * channels
    base = n * s[SETS] * channels
    run = s[RUN]
    longest = s[LONGEST]
    head_open = s[HEAD_OPEN]
    head_run = s[HEAD_RUN]
    below = s[BELOW]
    rise_at = s[RISE_AT]  # no negative numbers in memory: a 64-bit interpreter, where this is tested, reads them otherwise
    edges = ptr32(s[EDGES_AT])
    found = s[EDGES]
    most = s[MOST_EDGES]
    while i < end:
        code = codes[i]
        if code < trigger:
            run += 1
            if run > longest:
                longest = run
            if head_open:
                head_run = run
            if below == 0:
                below = 1
                if found < most:
                    edges[found] = (base + i) * 2 + 1
                    found += 1
            rise_at = 0
        else:
            run = 0
            head_open = 0
            if below:
                if rise_at == 0:
                    rise_at = base + i + 1
                if code >= confirm:
                    below = 0
                    if found < most:
                        edges[found] = (rise_at - 1) * 2
                        found += 1
                    rise_at = 0
        i += channels
    s[RUN] = run
    s[LONGEST] = longest
    s[HEAD_OPEN] = head_open
    s[HEAD_RUN] = head_run
    s[BELOW] = below
    s[RISE_AT] = rise_at
    s[EDGES] = found


@micropython.viper
def service(state):
    """Folds every segment that is full. Called by the interrupt at each segment's end; also right when called late or twice."""
    s = ptr32(state)
    timer = ptr32(s[TIMER_AT])
    began = timer[0] & WRAP
    s[CALLS] = (s[CALLS] + 1) & WRAP
    if s[STOPPED]:
        return
    fcs = ptr32(s[FCS_AT])
    if fcs[0] & FCS_OVER_BIT:
        # A conversion fell out of the FIFO, so which channel a code belongs to is no longer known: nothing of this is folded.
        s[FIFO_OVERFLOWS] += 1
        s[STOPPED] = 1
        return
    segments = s[SEGMENTS]
    segment_bytes = s[SEGMENT_BYTES]
    segment_us = s[SEGMENT_US]
    write = ptr32(s[WRITE_ADDR_AT])
    current = (write[0] - s[RAW_AT]) // segment_bytes
    if current >= segments:
        current = 0
    ready = current - s[NEXT]
    if ready < 0:
        ready += segments
    elapsed = (began - s[NEXT_US]) & WRAP
    if elapsed > segment_us * (segments - 1):
        # Held up for longer than the ring lasts: whole laps were overwritten.
        laps = (elapsed // segment_us - ready + segments // 2) // segments
        if laps > 0:
            gone = laps * segments
            s[OVERRUNS] += 1
            s[LOST] = (s[LOST] + gone * (segment_bytes // 2)) & WRAP
            if s[IN_BLOCK] or s[PIECE]:
                s[LOST] = (s[LOST] + ((s[LOW] - s[BIN_LOW]) & WRAP)) & WRAP  # the block that is half done goes as well
            s[LOW] += gone * (segment_bytes // 2)
            if s[LOW] > WRAP:
                s[HIGH] += 1
                s[LOW] &= WRAP
            s[NEXT_US] = (s[NEXT_US] + gone * segment_us) & WRAP
            s[PIECE] = 0
            s[IN_BLOCK] = 0
            if s[CLOSE_UPS_AT]:
                close_window(s[CLOSE_UPS_AT])
    while ready > 0:
        s[EDGES] = 0
        codes_at = s[RAW_AT] + s[NEXT] * segment_bytes
        fold_segment(s, codes_at)
        if s[RISE_AT]:
            s[RISE_AT] = 1  # a recovery still to be confirmed counts from the next segment's start
        if s[CLOSE_UPS_AT]:
            if s[EDGES]:
                follow(s)
            else:
                book = ptr32(s[CLOSE_UPS_AT])
                if book[0]:
                    follow(s)
        following = s[NEXT] + 1
        if following == segments:
            following = 0
        s[NEXT] = following
        s[NEXT_US] = (s[NEXT_US] + segment_us) & WRAP
        s[LOW] += segment_bytes // 2
        if s[LOW] > WRAP:
            s[HIGH] += 1
            s[LOW] &= WRAP
        ready -= 1
    took = (timer[0] - began) & WRAP
    if took > s[WORST_US]:
        s[WORST_US] = took


@micropython.viper
def copy_codes(pool_in, at: int, size: int, plain_in, plain_at: int, codes: int):
    """close_up.copy_codes, compiled; `plain_at` must be even."""
    pool = ptr8(pool_in)
    target = ptr16(int(ptr8(plain_in)) + plain_at)
    i = 0
    while i < codes:
        byte = (at * 3) >> 1
        if at & 1:
            target[i] = (pool[byte] >> 4) | (pool[byte + 1] << 4)
        else:
            target[i] = pool[byte] | ((pool[byte + 1] & 15) << 8)
        at += 1
        if at == size:
            at = 0
        i += 1


@micropython.viper
def keep(s: ptr32, b: ptr32, source: int, count: int):
    """Copies `count` conversions from `source` (conversions from the first segment's start) behind what the window has."""
    raw = ptr16(s[RAW_AT])
    raw_size = s[SEGMENTS] * (s[SEGMENT_BYTES] >> 1)
    pool = ptr8(b[1])
    pool_size = b[2]
    to = b[14]
    i = 0
    while i < count:
        code = raw[source]
        byte = (to * 3) >> 1
        if to & 1:
            pool[byte] = (pool[byte] & 15) | ((code & 15) << 4)
            pool[byte + 1] = code >> 4
        else:
            pool[byte] = code & 255
            pool[byte + 1] = code >> 8
        to += 1
        if to == pool_size:
            to = 0
        source += 1
        if source == raw_size:
            source = 0
        i += 1
    b[14] = to
    b[3] = (b[3] + count) & WRAP
    b[9] += count


@micropython.viper
def close_window(b: ptr32):
    """The window being filled is complete, or cannot be."""
    if b[0]:
        w = 16 + ((b[5] - 1) & 7) * 5
        b[w + 3] = b[9]
        b[w + 4] = 1
        b[0] = 0


@micropython.viper
def open_window(s: ptr32, b: ptr32, offset: int) -> int:
    """Begins a window for the edge at `offset` in this segment; 0 where there is no room. Copies up to the segment's end."""
    pre = b[11]
    free = b[2] - ((b[3] - b[4]) & WRAP)
    if free < pre + b[12]:
        return 0
    if b[5] - b[6] >= 8:
        return 0
    conversions = s[SEGMENT_BYTES] >> 1
    low = s[LOW] + offset - pre
    high = s[HIGH]
    if low < 0:
        if high:
            high -= 1
            low += WRAP  # 2**30 would be an object
            low += 1
        else:
            pre += low
            low = 0
    w = 16 + (b[5] & 7) * 5
    b[w] = low & WRAP
    b[w + 1] = high
    if low > WRAP:
        b[w + 1] = high + 1
    b[w + 2] = b[14]
    b[w + 3] = 0
    b[w + 4] = 0
    b[5] += 1
    b[9] = 0
    b[15] = free
    b[10] = pre + b[12]
    b[0] = 1
    source = s[NEXT] * conversions + offset - pre
    if source < 0:
        source += s[SEGMENTS] * conversions
    count = conversions - offset + pre
    if count > b[10]:
        count = b[10]
    keep(s, b, source, count)
    return 1


@micropython.viper
def note_edge(s: ptr32, b: ptr32, edge: int):
    """Writes an edge into the book and lets its window reach far enough; one that finds no room is counted."""
    if b[7] - b[8] >= 32:
        b[13] += 1
        return
    if b[7] >= 255:
        b[13] += 1
        return
    e = 56 + (b[7] & 31) * 4
    low = s[LOW] + (edge >> 1)
    b[e + 1] = s[HIGH]
    if low > WRAP:
        b[e + 1] += 1
    b[e] = low & WRAP
    b[e + 2] = edge & 1
    b[e + 3] = b[5] - 1
    b[7] += 1
    # from the window's start to this edge: modulo 2**30 is enough, a window is short
    want = ((low - b[16 + ((b[5] - 1) & 7) * 5]) & WRAP) + b[12]
    if want > b[15]:
        want = b[15]
    if want > b[10]:
        b[10] = want


@micropython.viper
def follow(s: ptr32):
    """Notes this segment's edges and copies what their windows want of it. The book's layout: close_up.py."""
    b = ptr32(s[CLOSE_UPS_AT])
    edges = ptr32(s[EDGES_AT])
    conversions = s[SEGMENT_BYTES] >> 1
    done = 0  # conversions of this segment that the window has already
    n = 0
    while n < s[EDGES]:
        if b[0] == 0:
            if int(open_window(s, b, edges[n] >> 1)) == 0:
                b[13] += s[EDGES] - n
                return
            done = conversions
        note_edge(s, b, edges[n])
        n += 1
    if b[0] == 0:
        return
    count = conversions - done
    if count > b[10] - b[9]:
        count = b[10] - b[9]
    if count > 0:
        keep(s, b, s[NEXT] * conversions + done, count)
    b[16 + ((b[5] - 1) & 7) * 5 + 3] = b[9]
    if b[9] >= b[10]:
        close_window(b)
