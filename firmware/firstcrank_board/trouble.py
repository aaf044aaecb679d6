"""After an error that nobody expected: noted in flash, shown on the LED, and the board starts again.

For ten seconds the pattern shows and Ctrl-C leads to MicroPython's prompt; then the chip is reset, and a board that works alone waits
again.
"""

import time

SHOWN_MS = 10000
MOST = 200


def tell(error: Exception) -> None:
    """Returns only where there is nothing to reset."""
    note("%s: %s" % (error.__class__.__name__, error))
    show(SHOWN_MS)
    import machine

    machine.reset()


def note(text: str) -> None:
    """Keeps it, once: the same error every twelve seconds would wear the flash out."""
    from .board import Store

    store, table = Store(), {"error": text[:MOST]}
    try:
        if store.load("error") != table:
            store.save("error", table)
    except OSError:
        pass


def show(most_ms: int) -> None:
    """The error's pattern."""
    from .board import Clock, led
    from .lamp import ERROR, Lamp

    lamp = Lamp(led(), Clock)
    lamp.show(ERROR)
    for _ in range(most_ms // 10):
        lamp.tick()
        time.sleep_ms(10)
