"""The big buffers, taken once and early: later the heap is whole no more, and they would not fit.

Loading the other modules scatters small objects over the heap that stay for good. How large the ring of bins and the pool of
close-ups are goes by the heap that this board has: the wireless boards have some 40 kB less of it.
"""

from array import array

# Bytes, or words of 32 bits where WORDS says so.
BINS = "bins"
FACTS = "facts"
SEGMENTS = "segments"
CLOSE_UPS = "close_ups"
MOST = {BINS: 63744, FACTS: 1344, SEGMENTS: 3072, CLOSE_UPS: 36096}
WORDS = (FACTS, SEGMENTS)
FIRST = (BINS, CLOSE_UPS, FACTS)  # before the other modules are loaded, which needs about 80 kB for a while
LATER = (SEGMENTS,)
PROGRAM = 76000  # bytes that the loaded program takes
SPARE = 41000  # left free for what the program makes while it runs, a little less where a board is short
LEAST_SPARE = 24000
LEAST_SHARE = 50  # hundredths of MOST: a ring of 1 s, two edges; a board that has not even that room samples another way

_kept = {}
_why_not = None


def reserve(names):
    """Takes buffers, as large as the heap allows; none where that is too little."""
    global _why_not
    import gc

    gc.collect()
    if names is LATER and BINS not in _kept:
        return
    share = 100
    if names is FIRST:
        share = share_of(gc.mem_free()) if hasattr(gc, "mem_free") else 0
        if not share:
            _why_not = "%d bytes of memory are free and %d are needed" % (gc.mem_free(), least_free())
            return
    try:
        for name in names:
            _kept[name] = _made(name, MOST[name] * share // 100 // 24 * 24)
    except MemoryError:
        _kept.clear()
        gc.collect()
        _why_not = "its memory is in pieces"


def share_of(free):
    """Hundredths of MOST that ring and pool may have where so many bytes are free at power-up; 0 where it is too little."""
    sizes = sum([MOST[name] * (4 if name in WORDS else 1) for name in FIRST])
    rest = free - PROGRAM - 4 * MOST[SEGMENTS]
    share = (rest - SPARE) * 100 // sizes
    if share < LEAST_SHARE and (rest - LEAST_SPARE) * 100 // sizes >= LEAST_SHARE:
        share = LEAST_SHARE
    return 0 if share < LEAST_SHARE else min(share, 100)


def least_free():
    """Bytes that must be free at power-up for the buffers to be taken."""
    free = PROGRAM
    while not share_of(free):
        free += 1000
    return free


def reserved():
    """True where the buffers were taken."""
    return BINS in _kept


def why_not():
    """Why they were not, in words; None where they were."""
    return _why_not


def take(name, size):
    """A buffer of at least `size`: the reserved one where it is large enough. One user at a time."""
    kept = _kept.get(name)
    if kept is not None and len(kept) >= size:
        return kept
    return _made(name, size)


def take_most(name):
    """The reserved buffer, whatever its size; where there is none one of the largest size."""
    return take(name, 0 if name in _kept else MOST[name])


def room(name):
    """How large a buffer of this name may be: as large as the reserved one, where there is one."""
    return len(_kept[name]) if name in _kept else MOST[name]


def _made(name, size):
    return array("i", bytes(4 * size)) if name in WORDS else bytearray(size)
