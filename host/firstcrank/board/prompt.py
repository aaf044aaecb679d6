"""Gets a board to its MicroPython prompt and back, with mpremote's transport."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator

from firstcrank import wire
from firstcrank.board.install import GET_MICROPYTHON, Prompt
from firstcrank.errors import FirstcrankError, LinkLostError, NoBoardError, WrongFirmwareError
from firstcrank.link.board_client import BoardClient, patience
from firstcrank.link.open import open_link


def leave_firmware(port: str) -> bool:
    """Asks firstcrank, where it runs on the board, to leave to the prompt. True where it did."""
    client = BoardClient(open_link(port))
    try:
        client.handshake(1.5)
    except WrongFirmwareError:
        if not client.identity_seen:
            return False
    except NoBoardError:
        return False
    try:
        client.ask(wire.LEAVE, wire.REPLY)
    except LinkLostError:
        return False
    finally:
        client.close()
    return True


@contextlib.contextmanager
def at_prompt(port: str) -> Iterator[Prompt]:
    """mpremote's transport in raw mode; the board is reset afterwards, so that main.py runs.

    Raises WrongFirmwareError where no MicroPython prompt answers.
    """
    from mpremote.transport import TransportError
    from mpremote.transport_serial import SerialTransport

    class Patient(SerialTransport):  # type: ignore[misc]
        """Waits as long as this machine's boards need: mpremote's own ten seconds are for a real one."""

        def follow(self, timeout: float, data_consumer: Callable[[bytes], None] | None = None) -> object:
            return super().follow(timeout * patience(), data_consumer)

    leave_firmware(port)
    try:
        transport = Patient(port, timeout=2)
    except TransportError as error:
        raise NoBoardError(f"{port} cannot be opened: {error}") from error
    try:
        try:
            transport.enter_raw_repl(soft_reset=False, timeout_overall=10 * patience())
        except TransportError as error:
            raise WrongFirmwareError(f"no MicroPython prompt on {port}: {GET_MICROPYTHON}") from error
        try:
            yield transport
        except TransportError as error:
            raise FirstcrankError(f"the board reported a problem: {_last_line(error)}") from error
        except OSError as error:
            raise LinkLostError("the board went away; it still has what it had. Try again") from error
        with contextlib.suppress(TransportError, OSError):
            transport.exit_raw_repl()
            transport.serial.write(b"\x04")  # soft reset: main.py runs
            time.sleep(0.2)
    finally:
        with contextlib.suppress(TransportError, OSError):
            transport.close()


def _last_line(error: Exception) -> str:
    lines = [line for part in error.args for line in str(part).replace("\\r\\n", "\n").splitlines() if line.strip()]
    return lines[-1] if lines else repr(error)
