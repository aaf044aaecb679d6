"""firstcrank limits: the shipped limits with their sources, written out to edit."""

from __future__ import annotations

from pathlib import Path

import click

from firstcrank.errors import UsageError


@click.group()
def limits() -> None:
    """The limits that the judge compares with. The engine maker's figures always win."""


@limits.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--system", type=click.Choice(["12", "24"]), default="12", show_default=True, help="System voltage.")
def write(file: Path, system: str) -> None:
    """Write the shipped limits to FILE, each number with its source."""
    from firstcrank.limits import shipped_text

    try:
        with file.open("x", encoding="utf-8") as target:
            target.write(shipped_text(int(system)))
    except FileExistsError as error:
        raise UsageError(f"{file} is already there: choose another name") from error
    except OSError as error:
        raise UsageError(f"{file} cannot be written: {error.strerror}") from error
    click.echo(f"{file}: edit the values, then use it with --limits {file}")


@limits.command()
@click.option("--system", type=click.Choice(["12", "24"]), default="12", show_default=True, help="System voltage.")
def show(system: str) -> None:
    """Show the shipped limits with unit, allowed range and source."""
    from rich.console import Console
    from rich.table import Table

    from firstcrank.limits import SPECS, shipped

    chosen = shipped(int(system))
    table = Table(box=None, pad_edge=False)
    for heading in ("limit", "value", "what it is", "source"):
        table.add_column(heading, overflow="fold")
    for key, spec in SPECS.items():
        table.add_row(key, f"{chosen[key]:g} {spec.unit}", spec.meaning, chosen.sources[key])
    Console(highlight=False).print(table)
