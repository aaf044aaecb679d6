"""The big buffers, taken once and early: later the heap is fragmented, and they would not fit.

Loading the other modules scatters small objects over the heap that stay for good. How large the ring of bins and the pool of
close-ups are goes by the heap that this board has: the wireless boards have some 40 kB less of it.
"""

from array import array

if 0:  # for mypy alone: compiled to nothing
    from typing import Any

    from board_types import Words

# Bytes, or words of 32 bits where WORDS says so.
BINS = "bins"
HEADERS = "headers"
SEGMENTS = "segments"
CLOSE_UPS = "close_ups"
WINDOW = 9024  # bytes of one edge's close-up: 6,016 conversions, two in three bytes
MOST = {BINS: 63744, HEADERS: 1344, SEGMENTS: 3072, CLOSE_UPS: 4 * WINDOW}
WORDS = (HEADERS, SEGMENTS)
FIRST = (BINS, CLOSE_UPS, HEADERS)  # before the other modules are loaded, which needs about 80 kB for a while
LATER = (SEGMENTS,)
PROGRAM = 79500  # bytes that the loaded program takes
SPARE = 41000  # left free for what the program makes while it runs, less where a board is short
LEAST_SPARE = 24000
# (edges that the pool holds, least bytes of the ring), the best first. A board that has not even the last samples another way.
PLANS = ((4, 48000), (3, 40000), (2, 32000))

_kept: "dict[str, Any]" = {}
_why_not: "str | None" = None


def reserve(names: "tuple[str, ...]") -> None:
    """Takes buffers, as large as the heap allows; none where that is too little."""
    global _why_not
    import gc

    gc.collect()
    if names is LATER and BINS not in _kept:
        return
    sizes: "dict[str, int] | Any" = MOST
    if names is FIRST:
        free = gc.mem_free() if hasattr(gc, "mem_free") else 0
        sizes = plan(free)
        if sizes is None:
            _why_not = "%d bytes of memory are free and %d are needed" % (free, least_free())
            return
    try:
        for name in names:
            _kept[name] = _made(name, sizes[name])
    except MemoryError:
        _kept.clear()
        gc.collect()
        _why_not = "its memory is in pieces"


def plan(free: int) -> "dict[str, int] | None":
    """Sizes of ring, pool and headers where so many bytes are free at power-up; None where that is too little."""
    for spare in (SPARE, LEAST_SPARE):
        for edges, least in PLANS:
            rest = free - PROGRAM - 4 * MOST[SEGMENTS] - spare - edges * WINDOW
            ring = min(rest * 71 // 77 // 24 * 24, MOST[BINS])  # with a block's headers for every 768 bytes and more
            if ring >= least:
                return {BINS: ring, CLOSE_UPS: edges * WINDOW, HEADERS: ring * MOST[HEADERS] // MOST[BINS]}
    return None


def least_free() -> int:
    """Bytes that must be free at power-up for the buffers to be taken."""
    edges, least = PLANS[-1]
    return PROGRAM + 4 * MOST[SEGMENTS] + LEAST_SPARE + edges * WINDOW + least * 77 // 71 + 100


def reserved() -> bool:
    """True where the buffers were taken."""
    return BINS in _kept


def why_not() -> "str | None":
    """Why they were not, in words; None where they were."""
    return _why_not


def take(name: str, size: int) -> "Any":
    """A buffer of at least `size`: the reserved one where it is large enough. One user at a time."""
    kept = _kept.get(name)
    if kept is not None and len(kept) >= size:
        return kept
    return _made(name, size)


def take_most(name: str) -> "Any":
    """The reserved buffer, whatever its size; where there is none one of the largest size."""
    return take(name, 0 if name in _kept else MOST[name])


def room(name: str) -> int:
    """How large a buffer of this name may be: as large as the reserved one, where there is one."""
    return len(_kept[name]) if name in _kept else MOST[name]


def _made(name: str, size: int) -> "Words | bytearray":
    return array("i", bytes(4 * size)) if name in WORDS else bytearray(size)
