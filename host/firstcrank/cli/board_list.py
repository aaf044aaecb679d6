"""firstcrank board list and info: which boards are there, and what one says of itself."""

from __future__ import annotations

import click

from firstcrank.cli.say import say, say_json


@click.command("list")
def list_boards() -> None:
    """List the boards that are plugged in, by USB id; nothing is sent to any port.

    \b
    Examples:
      firstcrank board list
    """
    from firstcrank.link.ports import board_ports

    ports = board_ports()
    for port in ports:
        say(f"{port.device}  serial {port.serial_number or 'unknown'}  {port.description}")
    if not ports:
        say("No board found. Plug it in with a cable that carries data; a new board needs MicroPython on it first.")


@click.command()
@click.option("--port", help="Serial port, pyserial URL, or sim:NAME. Default: the only board plugged in.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def info(port: str | None, as_json: bool) -> None:
    """Show the board's firmware, chip, inputs and state.

    \b
    Examples:
      firstcrank board info
      firstcrank board info --port sim:healthy --json
    """
    import json

    from firstcrank.cli.choose_port import chosen_link
    from firstcrank.link.board_client import BoardClient

    client = BoardClient(chosen_link(port))
    try:
        identity = client.handshake()
    finally:
        client.close()
    if as_json:
        say_json(json.dumps(identity))
        return
    for key, value in identity.items():
        say(f"{key:<14}{', '.join(map(str, value)) if isinstance(value, list) else value}")
