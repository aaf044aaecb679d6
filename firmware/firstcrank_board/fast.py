"""Chooses the compiled kernels where this interpreter can compile them, the plain ones elsewhere."""

try:
    from .fold_viper import fold
    from .stuff_viper import stuff

    COMPILED = True
except (ImportError, SyntaxError, NameError):  # CPython, or a port built without the native emitter
    from .fold import fold
    from .stuff import stuff

    COMPILED = False

__all__ = ("COMPILED", "fold", "stuff")
