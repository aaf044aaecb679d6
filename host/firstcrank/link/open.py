"""Opens a link from what the user typed: nothing (the only board), a port or URL, or a scheme such as sim:NAME."""

from __future__ import annotations

from firstcrank.link.base import Link
from firstcrank.log import logger

LOG = logger(__name__)


def open_link(port: str | None) -> Link:
    """Raises NoBoardError, PortBusyError, PortPermissionError, MissingExtraError, or UsageError for what a scheme refuses."""
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
