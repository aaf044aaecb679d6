"""Chooses the compiled kernels where this interpreter can run them, the plain ones elsewhere.

Each is taken alone: what is not used is not loaded, memory is short.
"""

# What an interpreter raises that cannot: no such emitter in the port, no assembler in it, a file compiled for another chip.
NOT_HERE = (ImportError, SyntaxError, NameError, AttributeError, ValueError)

try:
    from .crc_table import table
    from .frame_thumb import crc_into, stuff
except NOT_HERE:  # also the Linux interpreter, which has no Thumb assembler
    try:
        from .crc_viper import crc_into
        from .stuff_viper import stuff
    except NOT_HERE:
        from .framing import crc_into, table
        from .stuff import stuff

try:
    from .framing_viper import bins_body, header, pad

    COMPILED = True
except NOT_HERE:  # CPython, or a port built without the native emitter
    from .framing import bins_body, header, pad

    COMPILED = False

__all__ = ("COMPILED", "NOT_HERE", "bins_body", "crc_into", "header", "pad", "stuff", "table")
