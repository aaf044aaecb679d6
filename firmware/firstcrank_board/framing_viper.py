"""framing.bins_body compiled: same arguments and result as its plain twin, and no allocation. Layout: wire.py, BINS and HEADER."""

import micropython


@micropython.viper
def put32(at: ptr8, value: int):
    """Little-endian, any alignment."""
    at[0] = value & 0xFF
    at[1] = (value >> 8) & 0xFF
    at[2] = (value >> 16) & 0xFF
    at[3] = (value >> 24) & 0xFF


@micropython.viper
def bins_body(plain_in, headers_in, bins_in, job_in) -> int:
    """See framing.bins_body."""
    plain = ptr8(plain_in)
    headers = ptr32(headers_in)
    job = ptr32(job_in)
    words = job[8]
    first = job[0] * words
    last = first + (job[1] - 1) * words
    gap_us = job[10]
    span_us = job[9]
    conversions = job[11]
    if words == 6:
        gap_us = 0
        word = first
        while word <= last:
            if headers[word + 4] > gap_us:
                gap_us = headers[word + 4]
            word += 6
        span_us = headers[last + 3]
        conversions = headers[first + 5]
    low = headers[first]
    high = headers[first + 1]
    ticks_us = headers[first + 2]
    at = int(plain) + 14
    put32(at, low | (high << 30))
    put32(at + 4, high >> 2)
    put32(at + 8, ticks_us)
    put32(at + 12, ((headers[last + 2] - ticks_us) & 0x3FFFFFFF) + span_us)
    put32(at + 16, job[5])
    put32(at + 20, job[6])
    put32(at + 24, job[7])
    put32(at + 28, gap_us)
    plain[46] = conversions & 0xFF
    plain[47] = conversions >> 8
    plain[48] = job[3]
    plain[49] = job[4]
    size = job[1] * job[2]
    source = ptr16(int(ptr8(bins_in)) + job[0] * job[2])
    target = ptr16(at + 36)
    i = 0
    size >>= 1
    while i < size:
        target[i] = source[i]
        i += 1
    return 50 + size * 2


@micropython.viper
def header(plain: ptr8, version: int, kind: int, identity: ptr8, sequence: int):
    """See framing.header."""
    plain[0] = version
    plain[1] = kind
    n = 0
    while n < 8:
        plain[2 + n] = identity[n]
        n += 1
    n = 0
    while n < 4:
        plain[10 + n] = sequence & 255
        sequence >>= 8
        n += 1


@micropython.viper
def pad(target: ptr8, length: int, multiple: int) -> int:
    """See framing.pad."""
    while length % multiple:
        target[length] = 0
        length += 1
    return length
