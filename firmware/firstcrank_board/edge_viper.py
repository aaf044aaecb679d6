"""The twins of edge_thumb.py for interpreters without the Thumb assembler: same arguments and results."""

import micropython


@micropython.viper
def scan(s_in):
    """Runs and edges of the key feed in one piece, conversion by conversion. See rp2_service for the words of `s`."""
    s = ptr32(s_in)
    codes = ptr16(s[0])
    end = (s[1] - s[0] + 1) >> 1
    step = s[2] >> 1
    trigger = s[3]
    confirm = s[4]
    run = s[5]
    longest = s[6]
    head_open = s[7]
    head_run = s[8]
    below = s[9]
    rise_at = s[10]  # no negative numbers in memory: a 64-bit interpreter, where this is tested, reads them otherwise
    found = s[11]
    most = s[12]
    edges = ptr32(s[13])
    base = s[0] - s[14]
    i = 0
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
                    edges[found] = base + 2 * i + 1
                    found += 1
                else:
                    s[15] += 1
            rise_at = 0
        else:
            run = 0
            head_open = 0
            if below:
                if rise_at == 0:
                    rise_at = base + 2 * i + 1
                if code >= confirm:
                    below = 0
                    if found < most:
                        edges[found] = rise_at - 1
                        found += 1
                    else:
                        s[15] += 1
                    rise_at = 0
        i += step
    s[5] = run
    s[6] = longest
    s[7] = head_open
    s[8] = head_run
    s[9] = below
    s[10] = rise_at
    s[11] = found


@micropython.viper
def pack(source_in, target_in, groups: int):
    """Groups of eight 12-bit codes, 16 bytes, into 12 bytes: two codes in three bytes, the first in the low twelve bits."""
    source = ptr16(source_in)
    target = ptr8(target_in)
    i = 0
    byte = 0
    while i < 8 * groups:
        a = source[i]
        b = source[i + 1]
        target[byte] = a & 255
        target[byte + 1] = (a >> 8) | ((b & 15) << 4)
        target[byte + 2] = b >> 4
        byte += 3
        i += 2


@micropython.viper
def unpack(source_in, target_in, groups: int):
    """Undoes pack."""
    source = ptr8(source_in)
    target = ptr16(target_in)
    i = 0
    byte = 0
    while i < 8 * groups:
        target[i] = source[byte] | ((source[byte + 1] & 15) << 8)
        target[i + 1] = (source[byte + 1] >> 4) | (source[byte + 2] << 4)
        byte += 3
        i += 2
