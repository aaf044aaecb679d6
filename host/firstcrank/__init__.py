"""firstcrank: proves the key-switch feed of a freshly wired electronic diesel while it cranks."""


def __getattr__(name: str) -> str:
    """`__version__`, read where it is asked for: the file that holds it takes a tenth of the time that help takes."""
    if name != "__version__":
        raise AttributeError(f"module 'firstcrank' has no attribute {name!r}")
    from firstcrank import wire

    return wire.FIRMWARE_VERSION
