"""firstcrank wire: what a feed drops, which gauge and fuse it needs, and what the marks on switches and relays mean."""

from __future__ import annotations

import json
import re
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from firstcrank.cli.say import say
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from firstcrank.wiring.feed import Run, Wire, WireTable
    from firstcrank.wiring.terminals import TerminalsTable

LONGEST_M = 200.0


class Length(click.ParamType[float, object]):
    """A length in metres or feet: 4, 4m, 13ft, 13'. Metres come out."""

    name = "length"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Raises UsageError for anything else, for 0 and for more than 200 m."""
        from firstcrank.wiring.gauge import M_PER_FT

        if isinstance(value, float | int):
            return float(value)
        match = re.fullmatch(r"\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*(m|ft|feet|')?\s*", str(value), re.IGNORECASE)
        if not match:
            raise UsageError(f"{value!r} is no length: write 4m or 13ft")
        metres = float(match[1].replace(",", ".")) * (1.0 if (match[2] or "m").lower() == "m" else M_PER_FT)
        if not 0.01 <= metres <= LONGEST_M:
            raise UsageError(f"{value} is outside 1 cm to {LONGEST_M:g} m")
        return metres


@click.command()
@click.option("--length", "length_m", type=Length(), help="One way: 4, 4m, 13ft.")
@click.option("--amps", "amperes", type=click.FloatRange(0.001, 2000), help="Current.")
@click.option("--awg", help="Gauge: 16, 2/0.")
@click.option("--mm2", type=float, help="Cross-section, IEC 60228.")
@click.option("--return", "back", type=click.Choice(["body", "wire"]), default="body", show_default=True, help="The way back.")
@click.option("--cranking", is_flag=True, help="A starter cable: unfused, loaded for seconds.")
@click.option(
    "--temperature", "celsius", type=click.FloatRange(-60, 100), default=20.0, show_default=True, help="Surroundings, °C."
)
@click.option("--limit", "limit_v", type=click.FloatRange(0.001, 50), default=0.25, show_default=True, help="Drop allowed, V.")
@click.option("--terminals", is_flag=True, help="What the marks on switches, starters and relays mean.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def wire(
    length_m: float | None,
    amperes: float | None,
    awg: str | None,
    mm2: float | None,
    back: str,
    cranking: bool,
    celsius: float,
    limit_v: float,
    terminals: bool,
    as_json: bool,
) -> None:
    """Expected drop of a feed, and the wire that neither drops nor heats too much, with its fuse.

    Half a volt is common practice for a whole feed with its switch and joints; half of that for the wire alone is a good start.

    \b
    Examples:
      firstcrank wire --length 4m --amps 15
      firstcrank wire --terminals
    """
    from firstcrank.wiring import feed, gauge

    if terminals:
        _terminals(as_json)
        return
    if length_m is None or amperes is None:
        raise UsageError("give --length and --amps, or --terminals")
    if awg is not None and mm2 is not None:
        raise UsageError("give --awg or --mm2, not both")
    run = feed.Run(length_m, amperes, limit_v, celsius, back, cranking)
    given = None
    if awg is not None:
        given = feed.awg_wire(gauge.awg_number(awg), run)
    elif mm2 is not None:
        given = feed.metric_wire(mm2, run)
    choice = feed.choose(run)
    if as_json:
        answer: WireTable = {
            "run": run,
            "given": given,
            "awg": choice.awg,
            "metric": choice.metric,
            "awg_by_drop": choice.awg_by_drop,
            "awg_by_heat": choice.awg_by_heat,
            "fuse_a": choice.fuse_a,
        }
        click.echo(json.dumps(answer, default=asdict))
        return
    if given is not None:
        _given(given, run)
    say(
        f"Thinnest right wire for {amperes:g} A over {length_m:.4g} m ({length_m / gauge.M_PER_FT:.4g} ft) one way, {_back(run)}:"
    )
    for found in (choice.awg, choice.metric):
        heat = (
            f"{found.crank_rise_k:.0f} K warmer after a crank of 30 s"
            if cranking
            else f"carries {found.carries_a:.3g} A in a bundle"
        )
        say(f"   {found.name}: drops {found.drop_v:.3f} V (under {limit_v:g} V), {heat}")
    say(f"   by drop alone {choice.awg_by_drop}, by heat alone {choice.awg_by_heat}: the larger wins")
    if choice.fuse_a is None:
        say("   no fuse: route and protect it so that it cannot chafe; the engine maker may ask for more")
    else:
        say(
            f"   fuse {choice.fuse_a:g} A at the battery end (the load fills it to 80 % or less), never above what the wire carries"
        )
    say("Check against the engine maker's wiring diagram and local codes; wire of 105 °C insulation is assumed.")


def _back(run: Run) -> str:
    if run.back == "wire":
        return "back through a wire of the same size"
    return "back through the body: not in the drop, measure it apart (0.2 V at the most)"


def _given(given: Wire, run: Run) -> None:
    verdict = "under" if given.drop_ok else "OVER"
    heat = "carries it" if given.carries_ok else "TOO THIN for it"
    fuse = f"largest fuse {given.largest_fuse_a:g} A" if given.largest_fuse_a else "no fuse protects it"
    room = (
        f"{given.crank_rise_k:.0f} K warmer after a crank of 30 s"
        if run.cranking
        else f"{given.carries_a:.3g} A in a bundle, {fuse}"
    )
    say(
        f"{given.name}: {given.ohm_per_m * 1e3:.2f} mΩ/m, drops {given.drop_v:.3f} V, {verdict} {run.limit_v:g} V; "
        f"{heat}: {room}"
    )


def _terminals(as_json: bool) -> None:
    from firstcrank.wiring.terminals import ADVICE, AMERICAN_TERMINALS, DIN, DIN_TERMINALS, RELAY_PINS, US

    if as_json:
        known: TerminalsTable = {
            "din": list(DIN_TERMINALS),
            "american": list(AMERICAN_TERMINALS),
            "relay": list(RELAY_PINS),
            "advice": list(ADVICE),
        }
        click.echo(json.dumps(known, default=asdict))
        return
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    states = {True: "live", False: "-", None: "?"}
    short = {DIN: "lists", US: "practice"}
    for title, rows in (("European, DIN 72552", DIN_TERMINALS), ("American", AMERICAN_TERMINALS)):
        table = Table(title=title, title_justify="left", box=None, pad_edge=False)
        for heading in ("mark", "what", "ACC", "ON", "START", "module's key feed?", "source"):
            table.add_column(heading)
        for t in rows:
            table.add_row(
                t.mark, t.what, states[t.acc], states[t.on], states[t.start], t.key_feed, short.get(t.source, t.source)
            )
        console.print(table)
    table = Table(title="Relay", title_justify="left", box=None, pad_edge=False)
    for heading in ("pin", "what", "source"):
        table.add_column(heading)
    for pin in RELAY_PINS:
        table.add_row(pin.mark, pin.what, short.get(pin.source, pin.source))
    console.print(table)
    say(f"Sources: lists, {DIN}; practice, {US}. In the columns: live, - dead, ? the mark does not tell.")
    for line in ADVICE:
        say(line)
