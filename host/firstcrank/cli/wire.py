"""firstcrank wire: what a feed should drop, which gauge it needs, and what the ignition switch's terminals do."""

from __future__ import annotations

import click


@click.command()
@click.option("--length", "length_m", type=click.FloatRange(0.01, 200), help="One way, in metres.")
@click.option("--amps", "amperes", type=click.FloatRange(0.001, 1000), help="Current.")
@click.option("--awg", help="Gauge: 16, 2/0.")
@click.option("--mm2", type=float, help="Cross-section, IEC 60228.")
@click.option("--temperature", "temperature_c", type=click.FloatRange(-60, 150), default=20.0, show_default=True, help="°C.")
@click.option("--limit", "limit_v", type=click.FloatRange(0.001, 50), default=0.25, show_default=True, help="Drop allowed, V.")
@click.option("--terminals", is_flag=True, help="What the ignition switch's terminals do.")
def wire(
    length_m: float | None,
    amperes: float | None,
    awg: str | None,
    mm2: float | None,
    temperature_c: float,
    limit_v: float,
    terminals: bool,
) -> None:
    """Expected drop of a feed, and the gauge that keeps it under a limit.

    Half a volt is common practice for a whole feed with its switch and joints; half of that for the wire alone is a good start.
    """
    from firstcrank.errors import UsageError
    from firstcrank.wiring import gauge

    if terminals:
        _terminals()
        return
    if length_m is None or amperes is None:
        raise UsageError("give --length and --amps, or --terminals")
    if awg is not None and mm2 is not None:
        raise UsageError("give --awg or --mm2, not both")
    if awg is not None or mm2 is not None:
        if awg is not None:
            name, ohm = f"AWG {awg}", gauge.awg_ohm_per_m(gauge.awg_number(awg), temperature_c)
        else:
            name, ohm = f"{mm2:g} mm2", gauge.metric_ohm_per_m(mm2 or 0.0, temperature_c)
        lost_v = gauge.drop_v(ohm, length_m, amperes)
        verdict = "under" if lost_v < limit_v else "OVER"
        click.echo(f"{name}: {ohm * 1e3:.2f} mΩ/m, drops {lost_v:.3f} V, {verdict} {limit_v:g} V")
    thin_awg, thin_metric = gauge.smallest_gauge(length_m, amperes, limit_v, temperature_c)
    click.echo(f"Thinnest that keeps {amperes:g} A over {length_m:g} m under {limit_v:g} V: {thin_awg} or {thin_metric}")
    click.echo("That is for the drop alone: check the fuse, the heating in the bundle, and the engine maker's wiring diagram.")


def _terminals() -> None:
    from rich.console import Console
    from rich.table import Table

    from firstcrank.wiring.terminals import ADVICE, TERMINALS

    table = Table(box=None, pad_edge=False)
    for heading in ("terminal", "DIN 72552", "ACC", "RUN", "START", "module's key feed?"):
        table.add_column(heading)
    for t in TERMINALS:
        marks = ("live" if on else "-" for on in (t.acc, t.run, t.start))
        table.add_row(t.name, t.din, *marks, t.key_feed)
    Console(highlight=False).print(table)
    for line in ADVICE:
        click.echo(line)
