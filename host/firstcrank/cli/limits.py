"""firstcrank limits: the shipped limits with their sources, written out to edit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstcrank.errors import UsageError, cannot_write

if TYPE_CHECKING:
    from rich.console import Console


@click.group()
def limits() -> None:
    """The limits that the judge compares with. The engine maker's figures always win."""


@limits.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--system", type=click.Choice(["12", "24"]), default="12", show_default=True, help="System voltage.")
@click.option(
    "--profile",
    type=click.Choice(["I", "II", "III", "IV"], case_sensitive=False),
    help="ISO 16750-2 starting profile that the module's maker names: sets what the module rides through.",
)
def write(file: Path, system: str, profile: str | None) -> None:
    """Write the shipped limits to FILE, each number with its source.

    \b
    Examples:
      firstcrank limits write ours.toml
    """
    from firstcrank.limit_profiles import preset_text
    from firstcrank.limits import shipped_text

    text = shipped_text(int(system)) if profile is None else preset_text(profile.upper(), int(system))
    try:
        with file.open("x", encoding="utf-8") as target:
            target.write(text)
    except FileExistsError as error:
        raise UsageError(f"{file} is already there: choose another name") from error
    except OSError as error:
        raise UsageError(cannot_write(file, error)) from error
    click.echo(f"{file}: edit the values, then use it with --limits {file}")


@limits.command()
@click.option("--system", type=click.Choice(["12", "24"]), default="12", show_default=True, help="System voltage.")
@click.option("--all", "everything", is_flag=True, help="Also the method's own thresholds and the obligations of a PASS.")
def show(system: str, everything: bool) -> None:
    """Show the shipped limits with unit, allowed range and source.

    \b
    Examples:
      firstcrank limits show
      firstcrank limits show --system 24 --all
    """
    from rich.console import Console
    from rich.table import Table

    from firstcrank.limits import SPECS, shipped

    chosen = shipped(int(system))
    table = Table(box=None, pad_edge=False)
    for heading in ("limit", "value", "what it is", "source"):
        table.add_column(
            heading, overflow="fold", no_wrap=heading == "limit"
        )  # a key is typed into a file: never in two pieces
    for key, spec in SPECS.items():
        table.add_row(key, f"{chosen[key]:g} {spec.unit}", spec.meaning, chosen.sources[key])
    console = Console(highlight=False)
    console.print(table)
    if everything:
        _show_method(console, int(system))


def _show_method(console: Console, system_v: int) -> None:
    """Thresholds and obligations: what the judge decides by beside the limits."""
    from rich.table import Table

    from firstcrank.analysis.obligations.table import OBLIGATIONS
    from firstcrank.thresholds import rows, thresholds_for

    console.print("\n[bold]Thresholds of the method[/bold], not to be edited; our choice unless a source is named")
    table = Table(box=None, pad_edge=False)
    for heading in ("threshold", "value", "what it is"):
        table.add_column(heading, overflow="fold", no_wrap=heading == "threshold")
    for name, value, unit, meaning in rows(thresholds_for(system_v)):
        table.add_row(name, f"{value:g} {unit}".strip(), meaning)
    console.print(table)
    console.print(
        "\n[bold]Obligations[/bold]: a PASS needs every one of them met, for the recording, every crank and every phase"
    )
    table = Table(box=None, pad_edge=False)
    for heading in ("id", "obligation"):
        table.add_column(heading, overflow="fold", no_wrap=heading == "id")
    for obligation in OBLIGATIONS:
        table.add_row(f"{obligation.id}{' !' if obligation.voids else ''}", obligation.text)
    console.print(table)
    console.print("!  Where it is not met nothing in the recording can be trusted, not even a fault that it shows: NO VERDICT.")
    console.print("Any other fault found beside the feed makes the overall verdict a FAIL.")
