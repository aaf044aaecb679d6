"""firstcrank board install: copies the firmware to a board, verifies it, starts it, looks whether it answers."""

from __future__ import annotations

import click

from firstcrank.cli.say import say


@click.command()
@click.option("--port", help="Serial port. Default: the only board plugged in.")
def install(port: str | None) -> None:
    """Put the firmware on a board that runs MicroPython. Calibration and captures on it are kept.

    \b
    Examples:
      firstcrank board install
      firstcrank board install --port /dev/ttyACM0
    """
    from firstcrank.board.files import board_files
    from firstcrank.board.install import install as install_files
    from firstcrank.board.prompt import at_prompt
    from firstcrank.link.board_client import BoardClient
    from firstcrank.link.open import open_link
    from firstcrank.link.ports import board_ports, the_only_port

    device = port or the_only_port(board_ports()).device
    files = board_files()
    say(f"Installing on {device}")
    with at_prompt(device) as board:
        found = install_files(board, files, lambda name, number, count: say(f"  {number}/{count} {name}"))
    version = ".".join(map(str, found.micropython))
    say(f"MicroPython {version} on {found.platform}: {len(files)} files copied and verified. Starting it...")
    client = BoardClient(open_link(device))
    try:
        identity = client.handshake(8.0)
    finally:
        client.close()
    if identity.get("short_of_memory"):
        say(
            f"This board is too short of memory for the fast acquisition ({identity['short_of_memory']}): it can miss short dropouts. "
            "Remove other programs from it, or use a board with more memory."
        )
    say(f"firstcrank {identity['firmware']} answers. Next: firstcrank board check")
