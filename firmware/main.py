"""Runs at power-up. Waits two seconds so that MicroPython's own tools can always get in, then runs firstcrank.

To stay at the MicroPython prompt: hold GP22 to ground while plugging in, or press Ctrl-C within the two seconds.
Whatever goes wrong is noted, shown on the LED for ten seconds in which Ctrl-C works again, and then the chip starts anew.
"""

import sys
import time

ESCAPE_PIN = 22
ESCAPE_MS = 2000
LOAD_ORDER = ("wire", "commands", "outbox", "app", "board")


def held():
    """True while the escape pin is held to ground."""
    try:
        import machine

        return machine.Pin(ESCAPE_PIN, machine.Pin.IN, machine.Pin.PULL_UP).value() == 0
    except (ImportError, ValueError, AttributeError, TypeError):
        return False


def recover_interrupted_install():
    """Finishes an installation that was cut off between taking the old files away and putting the new ones in place."""
    import os

    names = os.listdir("/")
    if "firstcrank_board" not in names and "firstcrank_board.old" in names:
        os.rename("/firstcrank_board.old", "/firstcrank_board")


def run():
    """The program, with Ctrl-C turned into an ordinary byte while it runs."""
    import gc

    import micropython
    from firstcrank_board import arena

    arena.reserve(arena.FIRST)
    for name in LOAD_ORDER:
        __import__("firstcrank_board." + name)
        gc.collect()  # what compiling left behind, before the next module settles around it
    from firstcrank_board.app import App
    from firstcrank_board.board import parts

    app = App(parts())
    arena.reserve(arena.LATER)
    micropython.kbd_intr(-1)
    try:
        app.run()
    finally:
        micropython.kbd_intr(3)


if held():
    print("firstcrank: GP22 is held, staying at the prompt")
else:
    time.sleep_ms(ESCAPE_MS)
    try:
        recover_interrupted_install()
        run()
    except KeyboardInterrupt:
        print("firstcrank: stopped, at the prompt")
    except Exception as error:
        sys.print_exception(error)
        try:
            from firstcrank_board import trouble

            trouble.tell(error)
        except ImportError as missing:
            print("firstcrank: not whole on this board: install it again", missing)
        except KeyboardInterrupt:
            print("firstcrank: at the prompt")
