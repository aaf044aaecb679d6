"""The fold compiled by MicroPython's viper emitter: same arguments and result as fold.fold, its plain twin.

Written round a viper fault (y = -x overwrites x): no unary minus or inversion of a variable here.
The loop over one channel stands in both kernels: viper calls another function through Python objects, as slowly as Python does.
"""

import micropython


@micropython.viper
def fold(codes: ptr16, out: ptr8, params: ptr32):
    """See fold.fold. viper checks no bounds: the caller's buffers must hold what `params` asks for."""
    first = params[0]
    samples = params[1]
    channels = params[2]
    key = params[3]
    trigger = params[4]
    at = params[5]
    channel = 0
    while channel < channels:
        total = 0
        lowest = 65535
        highest = 0
        i = first + channel
        end = i + samples * channels
        while i < end:
            code = codes[i]
            total += code
            if code < lowest:
                lowest = code
            if code > highest:
                highest = code
            i += channels
        # total * 16 would leave 31 bits at 32,768 conversions of code 4095: divide the whole part first.
        mean = (total // samples) * 16 + ((total % samples) * 16 + samples // 2) // samples
        out[at] = mean & 0xFF
        out[at + 1] = mean >> 8
        out[at + 2] = lowest & 0xFF
        out[at + 3] = lowest >> 8
        out[at + 4] = highest & 0xFF
        out[at + 5] = highest >> 8
        at += 6
        channel += 1
    longest = 0
    head = 0
    run = 0
    if key < channels:
        still_head = 1
        i = first + key
        end = i + samples * channels
        while i < end:
            if codes[i] < trigger:
                run += 1
                if run > longest:
                    longest = run
                if still_head:
                    head = run
            else:
                run = 0
                still_head = 0
            i += channels
    out[at] = longest & 0xFF
    out[at + 1] = longest >> 8
    out[at + 2] = head & 0xFF
    out[at + 3] = head >> 8
    out[at + 4] = run & 0xFF
    out[at + 5] = run >> 8


@micropython.viper
def accumulate(p_in):
    """Twin of fold_thumb.accumulate."""
    p = ptr32(p_in)
    codes = ptr16(p[0])
    acc = ptr32(p[1])
    samples = p[2]
    channels = p[3]
    pieces = p[4]
    i = 0
    at = 0
    while pieces > 0:
        channel = 0
        while channel < channels:
            total = 0
            lowest = 65535
            highest = 0
            n = i + channel
            end = n + samples * channels
            while n < end:
                code = codes[n]
                total += code
                if code < lowest:
                    lowest = code
                if code > highest:
                    highest = code
                n += channels
            acc[at] = total
            acc[at + 1] = lowest
            acc[at + 2] = highest
            at += 3
            channel += 1
        i += samples * channels
        pieces -= 1
