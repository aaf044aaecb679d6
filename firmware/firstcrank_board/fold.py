"""Folds conversions into one bin, in plain Python: the definition, and the oracle of the compiled twins.

`codes` holds conversions round robin. `params` is an array('i') laid out by the names below, so that the compiled twins
take three arguments. Allocates nothing. Writes one bin in the layout of wire.py's BINS section.
"""

if 0:  # for mypy alone: compiled to nothing
    from board_types import Words

FIRST = 0  # index in `codes` of the bin's first conversion, which is of channel 0
SAMPLES = 1  # conversions per channel
CHANNELS = 2
KEY = 3  # channel number of the key feed, or NO_KEY
TRIGGER = 4  # a run is conversions of the key feed below this code
OUT_AT = 5  # where in `out` the bin begins
PARAMS = 6
NO_KEY = 255


def fold(codes: "Words", out: bytearray, params: "Words") -> None:
    """Mean in 1/16 code, minimum and maximum of each channel, then the key feed's runs, into `out`."""
    samples = params[SAMPLES]
    channels = params[CHANNELS]
    at = params[OUT_AT]
    for channel in range(channels):
        total = 0
        lowest = 65535
        highest = 0
        i = params[FIRST] + channel
        for _ in range(samples):
            code = codes[i]
            total += code
            if code < lowest:
                lowest = code
            if code > highest:
                highest = code
            i += channels
        mean = (total * 16 + samples // 2) // samples
        _put(out, at, mean)
        _put(out, at + 2, lowest)
        _put(out, at + 4, highest)
        at += 6
    longest = head = run = 0
    if params[KEY] < channels:
        trigger = params[TRIGGER]
        i = params[FIRST] + params[KEY]
        still_head = True
        for _ in range(samples):
            if codes[i] < trigger:
                run += 1
                if run > longest:
                    longest = run
                if still_head:
                    head = run
            else:
                run = 0
                still_head = False
            i += channels
    _put(out, at, longest)
    _put(out, at + 2, head)
    _put(out, at + 4, run)


def _put(out: bytearray, at: int, value: int) -> None:
    out[at] = value & 0xFF
    out[at + 1] = value >> 8
