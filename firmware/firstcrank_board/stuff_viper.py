"""stuff.stuff compiled by the viper emitter: same arguments and result as its plain twin."""

import micropython


@micropython.viper
def stuff(source: ptr8, length: int, target: ptr8) -> int:
    """See stuff.stuff. viper checks no bounds."""
    code_at = 0
    write = 1
    code = 1
    i = 0
    while i < length:
        byte = source[i]
        i += 1
        if byte:
            target[write] = byte
            write += 1
            code += 1
            if code < 255:
                continue
            if i == length:
                continue
        target[code_at] = code
        code_at = write
        write += 1
        code = 1
    target[code_at] = code
    target[write] = 0
    return write + 1
