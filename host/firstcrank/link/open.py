"""Opens a link from what the user typed: nothing (the only board), a port or URL, or a scheme such as sim:NAME."""

from __future__ import annotations

from firstcrank.link.base import Link
from firstcrank.log import logger

LOG = logger(__name__)


def open_link(port: str | None) -> Link:
    """A link to a board, opened.

    Args:
        port: A device name, a URL of pyserial, or a scheme such as `sim:NAME`; None: the only board that is plugged in.

    Returns:
        The open link; close it when done.

    Raises:
        NoBoardError: There is no such port, or with None no board, or more than one.
        PortBusyError: Another program holds the port.
        PortPermissionError: The system refuses access to the port.
        MissingExtraError: The scheme's package is not installed.
        UsageError: The scheme refuses what stands behind its colon, or two packages claim it.
    """
    if port is not None and ":" in port:
        from firstcrank.link.schemes import open_by_scheme

        link = open_by_scheme(port)
        if link is not None:
            LOG.info("link opened: %s", link.name)
            return link
    from firstcrank.link.serial_port import SerialLink

    if port is None:
        from firstcrank.link.ports import board_ports, the_only_port

        port = the_only_port(board_ports()).device
    link = SerialLink(port)
    LOG.info("port opened: %s", link.name)
    return link
