"""Chooses the compiled kernels where this interpreter can compile them, the plain ones elsewhere."""

try:
    from .fold_viper import fold
    from .stuff_viper import stuff

    COMPILED = True
except (ImportError, SyntaxError, NameError):  # CPython, or a port built without the native emitter
    from .fold import fold
    from .stuff import stuff

    COMPILED = False

try:
    from .framing_viper import bins_body, copy_bytes, crc_into, table
except (ImportError, SyntaxError, NameError, AttributeError):  # also the Linux interpreter, which has no Thumb assembler
    from .framing import bins_body, copy_bytes, crc_into, table

__all__ = ("COMPILED", "bins_body", "copy_bytes", "crc_into", "fold", "stuff", "table")
