"""firstcrank scenarios: the simulated starts by name."""

from __future__ import annotations

import click


@click.command()
def scenarios() -> None:
    """List the simulated starts. Use one as a port: firstcrank record --port sim:NAME

    \b
    Examples:
      firstcrank scenarios
    """
    from rich.table import Table

    from firstcrank.cli.screen import Screen
    from firstcrank_sim.scenarios.catalogue import SCENARIOS
    from firstcrank_sim.scenarios.visits import VISITS

    table = Table(box=None, pad_edge=False)
    table.add_column("name")
    table.add_column("overall")
    table.add_column("key feed")
    table.add_column("what happens")
    for scenario in SCENARIOS.values():
        table.add_row(scenario.name, scenario.overall, scenario.expected, scenario.line)
    for name, build in VISITS.items():
        table.add_row(name, "", "", f"{(build.__doc__ or '').strip()} (a visit)")
    console = Screen()
    console.print(table)
    console.print(
        "Overall is what a recording shows that has the leads and answers for it; without them the fault is not measured."
    )
