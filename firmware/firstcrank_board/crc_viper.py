"""framing.crc_into compiled, for interpreters without the Thumb assembler: same arguments and result, and no allocation."""

import micropython


@micropython.viper
def crc_into(data: ptr8, length: int, table: ptr32):
    """CRC-32/ISO-HDLC of data[:length], stored little-endian behind it. `table`: crc_table.table()."""
    crc = -1
    i = 0
    while i < length:
        crc = ((crc >> 8) & 0xFFFFFF) ^ table[(crc ^ data[i]) & 0xFF]
        i += 1
    crc = crc ^ -1
    data[i] = crc & 0xFF
    data[i + 1] = (crc >> 8) & 0xFF
    data[i + 2] = (crc >> 16) & 0xFF
    data[i + 3] = (crc >> 24) & 0xFF
