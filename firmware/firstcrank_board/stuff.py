"""Byte stuffing into a buffer that is already there, in plain Python: the oracle of stuff_viper and its fallback."""


def stuff(source: bytearray, length: int, target: bytearray) -> int:
    """COBS of source[:length] and the closing zero into `target`; returns how many bytes that took.

    `target` must hold length + 2 + length // 254 bytes.
    """
    code_at = 0
    write = 1
    code = 1
    for i in range(length):
        byte = source[i]
        if byte:
            target[write] = byte
            write += 1
            code += 1
        if not byte or (code == 255 and i != length - 1):
            target[code_at] = code
            code_at = write
            write += 1
            code = 1
    target[code_at] = code
    target[write] = 0
    return write + 1
