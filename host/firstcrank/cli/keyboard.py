"""Keys pressed while something else goes on: read without waiting, one at a time, where there is a keyboard."""

from __future__ import annotations

import os
import select
import sys
import types

MOST = 64


class Keyboard:
    """Letters typed since `typed` was last called; none where standard input is no terminal. A context: the terminal is put back."""

    def __init__(self, wanted: bool = True) -> None:
        self._wanted = wanted and sys.stdin is not None and sys.stdin.isatty()
        self._before: list[int | list[bytes | int]] | None = None

    def __enter__(self) -> Keyboard:
        if self._wanted and os.name == "posix":
            import termios
            import tty

            self._before = termios.tcgetattr(sys.stdin.fileno())
            tty.setcbreak(sys.stdin.fileno())
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: types.TracebackType | None
    ) -> None:
        if self._before is not None:
            import termios

            termios.tcsetattr(sys.stdin.fileno(), termios.TCSANOW, self._before)
            termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)  # a hammered key must not answer the next question
            self._before = None

    @property
    def there(self) -> bool:
        """Whether anybody can type."""
        return self._wanted

    def typed(self) -> str:
        """Letters that were typed since, at most 64."""
        if not self._wanted:
            return ""
        if os.name != "posix":
            return _typed_on_windows()
        if self._before is None or not select.select([sys.stdin], [], [], 0)[0]:
            return ""
        return os.read(sys.stdin.fileno(), MOST).decode("utf-8", "ignore")


def _typed_on_windows() -> str:
    if sys.platform != "win32":
        return ""
    import msvcrt

    letters = ""
    while msvcrt.kbhit() and len(letters) < MOST:
        letters += msvcrt.getwch()
    return letters
