"""A serial port through pyserial, its errors as texts that give the remedy."""

from __future__ import annotations

import contextlib
import errno
import sys
import time

import serial

from firstcrank.errors import LinkLostError, NoBoardError, PortBusyError, PortPermissionError

BAUD = 115200  # USB serial has no baud rate; real ports in the URL forms do
PIECE_S = 0.05


class SerialLink:
    """A Link on anything `serial.serial_for_url` opens: a device name, socket://, rfc2217://, loop://, spy://."""

    synthetic = False

    def __init__(self, url: str) -> None:
        self.name = url
        try:
            self._port = serial.serial_for_url(url, do_not_open=True)
            self._port.baudrate = BAUD
            self._port.timeout = PIECE_S
            self._port.write_timeout = 2.0
            with contextlib.suppress(AttributeError, ValueError):
                self._port.exclusive = True
            self._port.open()
        except (serial.SerialException, OSError, ValueError) as error:
            raise _translate_error(url, error) from error

    def read(self, timeout_s: float) -> bytes:
        """See Link.read."""
        deadline_s = self.now_s() + timeout_s
        try:
            while True:
                waiting = self._port.in_waiting
                data = bytes(self._port.read(max(waiting, 1)))
                if data or self.now_s() >= deadline_s:
                    return data
        except (serial.SerialException, OSError, TypeError) as error:
            raise LinkLostError(f"the connection to {self.name} was lost: was the cable pulled?") from error

    def write(self, data: bytes) -> None:
        """See Link.write."""
        try:
            self._port.write(data)
            self._port.flush()
        except (serial.SerialException, OSError) as error:
            raise LinkLostError(f"the connection to {self.name} was lost: was the cable pulled?") from error

    def now_s(self) -> float:
        """Wall time, monotonic."""
        return time.monotonic()

    def close(self) -> None:
        """See Link.close."""
        with contextlib.suppress(serial.SerialException, OSError):
            self._port.close()


def _translate_error(url: str, error: Exception) -> Exception:
    number = getattr(error, "errno", None)
    text = str(error)
    if number is None:
        number = next((e for e in (errno.EACCES, errno.EBUSY, errno.ENOENT) if f"[Errno {e}]" in text), None)
    if number == errno.EACCES or "PermissionError" in text or "Access is denied" in text:
        if sys.platform == "win32":
            return PortBusyError(f"{url} is in use: close the other program that has it open (Thonny, a terminal, mpremote)")
        return PortPermissionError(
            f"no permission for {url}: add yourself to its group (sudo usermod -aG dialout $USER), then log out and in again"
        )
    if number == errno.EBUSY or "exclusively lock" in text or "Could not exclusively" in text:
        return PortBusyError(f"{url} is in use: close the other program that has it open (an editor, a terminal, mpremote)")
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "could not open port" in text or "FileNotFoundError" in text:
        return NoBoardError(f"there is no port {url}: check the name and the cable ('firstcrank board list' shows boards)")
    return NoBoardError(f"{url} cannot be opened: {text}")
