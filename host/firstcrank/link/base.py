"""What every place that bytes come from looks like: a serial port, the simulated vehicle, a test's script."""

from __future__ import annotations

from typing import Protocol


class Link(Protocol):
    """A byte stream to a board. `name` is what the user typed or what was found, for messages."""

    name: str
    synthetic: bool  # nothing that it carries was measured: recordings made through it say so

    def read(self, timeout_s: float) -> bytes:
        """Whatever has arrived, at once if anything has; b"" when `timeout_s` link-clock seconds passed without.

        Raises LinkLostError when the other end is gone.
        """
        ...

    def write(self, data: bytes) -> None:
        """Sends all of `data`. Raises LinkLostError."""
        ...

    def now_s(self) -> float:
        """The link's clock: wall time for a port, simulated time for the simulator. Time-outs are measured on it."""
        ...

    def close(self) -> None:
        """Gives the port back. Harmless when already closed."""
        ...
