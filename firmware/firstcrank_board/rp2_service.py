"""What the DMA interrupt does, compiled: folds the segments that are full and keeps the index of the ring. Edges of the feed: rp2_edges.py.

Runs as a hard interrupt callback with the heap locked, so everything it uses lies in word arrays made before: `state` (indexes
below), the ring's index and headers (bin_ring.py), and plain memory behind addresses. viper checks no bounds.

The data channel writes segment after segment; a second channel gives it the next segment's address and so starts it again
with its full count, all in hardware. No count ever comes near its end, however long the recording.
"""

import micropython
from micropython import const

from .rp2_edges import close_window, follow

NOT_HERE = (ImportError, SyntaxError, NameError, AttributeError, ValueError)  # an interpreter without the Thumb assembler
try:
    from .fold_thumb import accumulate
except NOT_HERE:
    from .fold_viper import accumulate
try:
    from .edge_thumb import scan
except NOT_HERE:
    from .edge_viper import scan

# --- state: what `scan` works with, in this order ---
SCAN_AT = const(0)  # address of the key feed's first conversion in a piece
SCAN_END = const(1)
SCAN_STEP = const(2)  # bytes from one conversion of the key feed to the next
TRIGGER = const(3)
CONFIRM = const(4)  # a recovery counts from this code on, so that noise on a slow edge is not many edges
RUN = const(5)
LONGEST = const(6)
HEAD_OPEN = const(7)
HEAD_RUN = const(8)
BELOW = const(9)  # 1 while the key feed is below the trigger code
RISE_AT = const(10)  # 1 more than twice the offset where the feed came back, not yet confirmed; 0: nowhere
EDGES = const(11)  # edges found in the segment just folded
MOST_EDGES = const(12)
EDGES_AT = const(13)  # scratch: offsets (in conversions from the segment's start) * 2 + falling
SEGMENT_AT = const(14)  # address of the segment being folded
MISSED = const(15)  # edges that found no place in the scratch
# --- set up by rp2_dma ---
RAW_AT = const(16)  # address of the segments
SEGMENTS = const(17)
SEGMENT_BYTES = const(18)
SEGMENT_US = const(19)
WRITE_ADDR_AT = const(20)  # address of the data channel's WRITE_ADDR
ADC_AT = const(21)
TIMER_AT = const(22)
SAMPLES = const(23)  # conversions per channel in one piece
CHANNELS = const(24)
KEY = const(25)  # channel of the key feed; CHANNELS or more: none
PIECES = const(26)  # pieces a bin is made of, one a segment; 1: a segment holds whole bins
BINS_A_SEGMENT = const(27)
ACC_AT = const(28)
SHAPE_AT = const(29)
INDEX_AT = const(30)
HEADERS_AT = const(31)
BLOCKS_AT = const(32)
BLOCK_BYTES = const(33)
SPARE_AT = const(34)
BINS_A_BLOCK = const(35)
CLOSE_UPS_AT = const(36)  # address of the close-ups' index, 0: none
SHIFT = const(37)  # conversions of a channel in a bin are 2**SHIFT; NO_SHIFT where they are no power of two
# --- kept by service ---
NEXT = const(38)  # segment to fold next
NEXT_US = const(39)  # when its first conversion began, counted from the start
LOW = const(40)  # index of its first conversion, low and high 30 bits
HIGH = const(41)
LOST = const(42)
OVERRUNS = const(43)
FIFO_OVERFLOWS = const(44)
CONVERTER_ERRORS = const(45)
STOPPED = const(46)  # 1 after a FIFO overflow or a converter error, until rp2_dma starts again
PIECE = const(47)
BIN_LOW = const(48)
BIN_HIGH = const(49)
BIN_US = const(50)
CALLS = const(51)
OUT_AT = const(52)
WORST_US = const(53)  # longest time the callback took
IN_BLOCK = const(54)  # bins of the current block that are done
SINCE = const(55)  # conversions in the segments from before the next one that are whole; as many as they hold at most
LAST_US = const(56)  # the timer, as it was when the callback last began
STATE = const(57)

HYSTERESIS = const(12)  # codes above the trigger, see CONFIRM
NO_SHIFT = const(31)
FCS_OVER_BIT = const(0x800)
CS_ERR_STICKY_BIT = const(0x400)
WRAP = const(0x3FFFFFFF)


@micropython.viper
def begin_block(s: ptr32):
    """Takes the next block of the ring, or the spare one where the ring is full and must keep what it has."""
    index = ptr32(s[INDEX_AT])
    s[BIN_LOW] = s[LOW]
    s[BIN_HIGH] = s[HIGH]
    s[BIN_US] = s[NEXT_US]
    following = index[0] + 1
    if following == index[2]:
        following = 0
    if following == index[1]:
        if index[4] == 0:
            s[OUT_AT] = s[SPARE_AT]
            return
        index[5] += s[BINS_A_BLOCK]
        following += 1
        if following == index[2]:
            following = 0
        index[1] = following
    s[OUT_AT] = s[BLOCKS_AT] + index[0] * s[BLOCK_BYTES]


@micropython.viper
def end_block(s: ptr32):
    """The block is full: its header is written and it belongs to the reader. One in the spare block is counted as lost."""
    index = ptr32(s[INDEX_AT])
    if s[OUT_AT] - s[BLOCK_BYTES] == s[SPARE_AT]:
        index[3] += s[BINS_A_BLOCK]
        return
    head = index[0]
    headers = ptr32(s[HEADERS_AT] + head * 12)
    headers[0] = s[BIN_LOW]
    headers[1] = s[BIN_HIGH]
    headers[2] = s[BIN_US]
    head += 1
    if head == index[2]:
        head = 0
    index[0] = head


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
def fold_segment(s: ptr32, codes_at: int):
    """Folds one segment into bins in wire.py's layout; `s` is the state."""
    samples = s[SAMPLES]
    channels = s[CHANNELS]
    words = channels * 3
    bins = s[BINS_A_SEGMENT]
    pieces = s[PIECES]
    trigger = s[TRIGGER]
    key = s[KEY]
    shift = s[SHIFT]
    total = samples * pieces
    half = total >> 1
    acc_at = s[ACC_AT]
    shape = ptr32(s[SHAPE_AT])
    shape[0] = codes_at
    shape[1] = acc_at
    shape[4] = bins
    accumulate(s[SHAPE_AT])
    while bins > 0:
        acc = ptr32(acc_at)
        if s[PIECE] == 0:
            s[LONGEST] = 0
            s[HEAD_RUN] = 0
            s[RUN] = 0
            s[HEAD_OPEN] = 1
            if s[IN_BLOCK] == 0:
                begin_block(s)
        if key < channels:
            if acc[3 * key + 1] >= trigger and s[BELOW] == 0:
                s[RUN] = 0
                s[HEAD_OPEN] = 0
            elif acc[3 * key + 2] < trigger and s[BELOW] == 1:
                s[RUN] += samples
                if s[RUN] > s[LONGEST]:
                    s[LONGEST] = s[RUN]
                if s[HEAD_OPEN]:
                    s[HEAD_RUN] = s[RUN]
                s[RISE_AT] = 0
            else:
                s[SCAN_AT] = codes_at + key * 2
                s[SCAN_END] = codes_at + samples * channels * 2
                scan(s)
        whole = acc
        if pieces > 1:
            merge(s)
            whole = ptr32(acc_at + words * 4)
        s[PIECE] += 1
        if s[PIECE] == pieces:
            s[PIECE] = 0
            out = ptr16(s[OUT_AT])
            i = 0
            while i < words:
                codes = whole[i]
                if shift < NO_SHIFT:
                    out[i] = (codes * 16 + half) >> shift
                else:
                    mean = codes // total
                    out[i] = mean * 16 + ((codes - mean * total) * 16 + half) // total
                out[i + 1] = whole[i + 1]
                out[i + 2] = whole[i + 2]
                i += 3
            out[i] = s[LONGEST]
            out[i + 1] = s[HEAD_RUN]
            out[i + 2] = s[RUN]
            s[OUT_AT] += i * 2 + 6
            s[IN_BLOCK] += 1
            if s[IN_BLOCK] == s[BINS_A_BLOCK]:
                s[IN_BLOCK] = 0
                end_block(s)
        acc_at += words * 4
        codes_at += samples * channels * 2
        bins -= 1


@micropython.viper
def service(state):
    """Folds every segment that is full. Called by the interrupt at each segment's end; also right when called late or twice."""
    s = ptr32(state)
    timer = ptr32(s[TIMER_AT])
    began = timer[0] & WRAP
    s[CALLS] = (s[CALLS] + 1) & WRAP
    if s[STOPPED]:
        return
    adc = ptr32(s[ADC_AT])
    if adc[2] & FCS_OVER_BIT:
        # A conversion fell out of the FIFO, so which channel a code belongs to is no longer known: nothing of this is folded.
        s[FIFO_OVERFLOWS] += 1
        s[STOPPED] = 1
        return
    if adc[0] & CS_ERR_STICKY_BIT:
        # The converter did not settle on one of the conversions that are not folded yet: none of them is believed.
        s[CONVERTER_ERRORS] += 1
        s[STOPPED] = 1
        return
    s[LAST_US] = began
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
            s[SINCE] = 0
            if s[CLOSE_UPS_AT]:
                close_window(s[CLOSE_UPS_AT])
    while ready > 0:
        s[EDGES] = 0
        codes_at = s[RAW_AT] + s[NEXT] * segment_bytes
        s[SEGMENT_AT] = codes_at
        fold_segment(s, codes_at)
        if s[RISE_AT]:
            s[RISE_AT] = 1  # a recovery still to be confirmed counts from the next segment's start
        if s[CLOSE_UPS_AT]:
            if s[EDGES]:
                follow(s)
            else:
                index = ptr32(s[CLOSE_UPS_AT])
                if index[0]:
                    follow(s)
        if s[SINCE] < segment_bytes:
            s[SINCE] += segment_bytes >> 1  # two segments are more than a close-up reaches back
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
