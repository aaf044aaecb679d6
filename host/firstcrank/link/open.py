"""Opens a link from what the user typed: nothing (the only board), a port or URL, or bench:NAME."""

from __future__ import annotations

from firstcrank.link.base import Link

BENCH = "bench:"


def open_link(port: str | None) -> Link:
    """Raises NoBoardError, PortBusyError, PortPermissionError, or UsageError for an unknown scenario."""
    if port is not None and port.startswith(BENCH):
        from firstcrank.bench.simulated_board import open_bench

        return open_bench(port[len(BENCH) :])
    from firstcrank.link.serial_port import SerialLink

    if port is None:
        from firstcrank.link.ports import board_ports, the_only_port

        port = the_only_port(board_ports()).device
    return SerialLink(port)
