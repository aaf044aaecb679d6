"""firstcrank board check: is this board fit to be trusted?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from firstcrank.board.check import CheckLine, CheckTable

SIGN = {"ok": "ok", "warn": "warn", "fail": "FAIL", "not checked": "-"}
STYLE = {"warn": "bold", "fail": "bold red"}


@click.command()
@click.option("--port", help="Serial port, pyserial URL, or sim:NAME. Default: the only board plugged in.")
@click.option("--lead", "leads", multiple=True, metavar="ROLE=PIN", help="Leads of your board, if not the minimal build's.")
@click.option("--acquisition", default="auto", show_default=True, help="How the board samples.")
@click.option("--system", type=click.Choice(["12", "24"]), default="12", show_default=True, help="Which minimal build.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def check(port: str | None, leads: tuple[str, ...], acquisition: str, system: str, as_json: bool) -> int:
    """Check inputs, noise, clock, memory, sampling and link of a board. Key off, engine stopped.

    Exit code: 0 fit, 4 not fit or not reachable.

    \b
    Examples:
      firstcrank board check
      firstcrank board check --port sim:healthy,solder=1
    """
    from dataclasses import asdict
    from json import dumps

    from firstcrank.board.check import ask_board
    from firstcrank.board.check import check as lines_of
    from firstcrank.board.pin_network import networks
    from firstcrank.calibration import read_calibration
    from firstcrank.cli.choose_port import chosen_link
    from firstcrank.cli.lead_map import channels_of
    from firstcrank.converters import converter_of
    from firstcrank.link.board_client import BoardClient
    from firstcrank.nominal_files import nominal_file

    channels = channels_of(leads)
    client = BoardClient(chosen_link(port))
    try:
        chip = str(client.handshake().get("chip", ""))
        behind = converter_of(acquisition, chip)
        with nominal_file(int(system), behind) as path:
            nominal = read_calibration(path, behind)
            parts = networks(path)
        lines = lines_of(ask_board(client, channels, acquisition, parts), nominal, networks=parts)
    finally:
        client.close()
    if as_json:
        table: CheckTable = {"fit": not _unfit(lines), "checks": list(lines)}
        click.echo(dumps(table, ensure_ascii=False, default=asdict))
    else:
        _show(lines)
    return 4 if _unfit(lines) else 0


def _unfit(lines: tuple[CheckLine, ...]) -> bool:
    return any(line.outcome == "fail" for line in lines)


def _show(lines: tuple[CheckLine, ...]) -> None:
    from rich.table import Table
    from rich.text import Text

    from firstcrank.cli.screen import Screen

    console = Screen()
    table = Table.grid(padding=(0, 2))
    table.add_column(width=4, no_wrap=True)
    table.add_column(max_width=24)
    table.add_column()
    for line in lines:
        style = STYLE.get(line.outcome, "")
        table.add_row(Text(SIGN[line.outcome], style=style), Text(line.what), Text(line.seen))
        if line.do:
            table.add_row("", "", Text(f"-> {line.do}", style=style))
    console.print(table)
    fit = "This board is NOT fit for use yet: repair what says FAIL." if _unfit(lines) else "This board is fit for use."
    console.print(Text(fit, style="bold red" if _unfit(lines) else "bold green"))
