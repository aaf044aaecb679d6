"""firstcrank board alone: tells a board to watch, judge and keep starts without a laptop."""

from __future__ import annotations

from typing import Unpack

import click

from firstcrank.cli.answers import chosen_limits, judging_options
from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import JudgingOptions

LAMP = (
    ("one blip every 3 s", "waiting: key off, then KEY ON"),
    ("two blips every 2 s", "key seen ON: crank now"),
    ("on", "cranking, or watching what comes after"),
    ("fast flicker", "keeping the trace: do not unplug"),
    ("long on, short off", "PASS"),
    ("three blips, pause", "FAIL"),
    ("one long, one short", "NO VERDICT"),
    ("two long, two short", "an error, or a table from before an update: plug it in, firstcrank board check"),
    ("six fast blips behind it", "the trace was not kept: memory full, fetch first"),
)


@click.command(cls=GroupedCommand)
@click.option("--port", help="Serial port. Default: the only board plugged in.")
@click.option("--lead", "leads", multiple=True, metavar="ROLE=PIN", help="Leads of your board, if not the minimal build's.")
@click.option("--acquisition", default="auto", show_default=True, help="How the board samples.")
@click.option("--off", is_flag=True, help="The board waits for a laptop again.")
@judging_options
def alone(port: str | None, leads: tuple[str, ...], acquisition: str, off: bool, **options: Unpack[JudgingOptions]) -> None:
    """Let the board work alone, on a USB power bank: it shows the outcome on its LED and keeps the traces.

    Set once, it does so after every power-up until --off. Fetch the traces with: firstcrank board fetch.

    \b
    Examples:
      firstcrank board alone --key-start --module-plugged
      firstcrank board alone --off
    """
    from rich.table import Table

    from firstcrank import wire
    from firstcrank.board.alone import alone_table
    from firstcrank.cli.choose_port import chosen_link
    from firstcrank.cli.lead_map import channels_of
    from firstcrank.cli.record import cautions, choose_calibration
    from firstcrank.cli.screen import Screen
    from firstcrank.link.board_client import BoardClient

    console = Screen()
    limits = chosen_limits(options["limits_file"], options["system"])
    client = BoardClient(chosen_link(port))
    try:
        client.handshake()
        client.idle()
        if off:
            client.ask(wire.ARM, wire.REPLY, {"alone": None})
            console.print("The board waits for a laptop again. What it kept stays: firstcrank board fetch")
            return
        calibration = choose_calibration(client, options["calibration_file"], limits, console)
        table = alone_table(limits, calibration, channels_of(leads), options["feed_kind"])
        client.ask(wire.ARM, wire.REPLY, {"alone": {**table, "acquisition": acquisition}})
    finally:
        client.close()
    cautions(console)
    console.print("The board works alone from now on, and whenever it gets power without a laptop. Its LED says:")
    lamp = Table.grid(padding=(0, 2))
    for pattern, meaning in LAMP:
        lamp.add_row("  " + pattern, meaning)
    console.print(lamp)
    console.print("\nKey off, clip on, power bank on. Then KEY ON, wait for two blips, START, and leave the key ON for 3 s.")
    console.print("The LED is a first answer. The traces decide: firstcrank board fetch")
