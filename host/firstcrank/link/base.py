"""What every place that bytes come from looks like: a serial port, the simulated vehicle, a test's script."""

from __future__ import annotations

from typing import Protocol


class Link(Protocol):
    """A byte stream to a board.

    Attributes:
        name: What the user typed or what was found, for messages.
        synthetic: Nothing that it carries was measured: recordings made through it say so.
    """

    name: str
    synthetic: bool

    def read(self, timeout_s: float) -> bytes:
        """Whatever has arrived, at once if anything has.

        Args:
            timeout_s: How long to wait for the first byte, seconds of the link's clock.

        Returns:
            The bytes in the order they came; b"" when the time passed without.

        Raises:
            LinkLostError: The other end is gone.
        """
        ...

    def write(self, data: bytes) -> None:
        """Sends all of `data`.

        Args:
            data: Bytes for the board.

        Raises:
            LinkLostError: The other end is gone.
        """
        ...

    def now_s(self) -> float:
        """The link's clock: wall time for a port, simulated time for the simulator. Time-outs are measured on it.

        Returns:
            Seconds from any beginning, never falling.
        """
        ...

    def close(self) -> None:
        """Gives the port back. Harmless when already closed."""
        ...
