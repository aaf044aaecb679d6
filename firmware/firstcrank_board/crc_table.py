"""The 256 words that the compiled checksums look up."""

from array import array


def table() -> "array[int] | None":
    """CRC-32/ISO-HDLC, reflected polynomial EDB88320: 256 words of 32 bits."""
    words = array("I", bytes(1024))
    for n in range(256):
        crc = n
        for _ in range(8):
            crc = crc >> 1 ^ 0xEDB88320 if crc & 1 else crc >> 1
        words[n] = crc
    return words
