"""The big buffers, taken once and early: later the heap is whole no more, and they would not fit.

Loading the other modules scatters small objects over the heap that stay for good.
"""

from array import array

# Bytes, or words of 32 bits where WORDS says so.
BINS = "bins"
FACTS = "facts"
SEGMENTS = "segments"
CLOSE_UPS = "close_ups"
SIZES = {BINS: 63744, FACTS: 1344, SEGMENTS: 3072, CLOSE_UPS: 36096}
WORDS = (FACTS, SEGMENTS)
FIRST = (BINS, CLOSE_UPS, FACTS)  # before the other modules are compiled, which needs about 80 kB for a while
LATER = (SEGMENTS,)
LEAST_FREE = 200000  # a smaller board keeps its heap for itself

_kept = {}


def reserve(names):
    """Takes buffers, on a heap that is large enough for all of them and the program."""
    import gc

    gc.collect()
    if names is FIRST and not (hasattr(gc, "mem_free") and gc.mem_free() >= LEAST_FREE):
        return
    if names is LATER and BINS not in _kept:
        return
    for name in names:
        _kept[name] = _made(name, SIZES[name])


def reserved():
    """True where the buffers were taken."""
    return BINS in _kept


def take(name, size):
    """A buffer of at least `size`: the reserved one where it is large enough. One user at a time."""
    kept = _kept.get(name)
    if kept is not None and len(kept) >= size:
        return kept
    return _made(name, size)


def _made(name, size):
    return array("i", bytes(4 * size)) if name in WORDS else bytearray(size)
