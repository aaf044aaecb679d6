"""firstcrank scenarios: the simulated starts by name."""

from __future__ import annotations

import click


@click.command()
def scenarios() -> None:
    """List the simulated starts. Use one as a port: firstcrank record --port bench:NAME"""
    from rich.table import Table

    from firstcrank.bench.scenarios import SCENARIOS
    from firstcrank.cli.screen import Screen

    table = Table(box=None, pad_edge=False)
    table.add_column("name")
    table.add_column("deserves")
    table.add_column("what happens")
    for scenario in SCENARIOS.values():
        table.add_row(scenario.name, scenario.expected, scenario.line)
    Screen().print(table)
