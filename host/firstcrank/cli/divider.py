"""firstcrank divider: proposes an input network, or checks one."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from firstcrank.divider.network import Network
    from firstcrank.divider.propose import Proposal, Wishes

PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "K": 1e3, "M": 1e6}


def number(text: str) -> float:
    """A value with a prefix: 47k, 10n, 2.2M, 0. Raises UsageError."""
    import math
    import re

    match = re.fullmatch(r"\s*(\d+(?:\.\d*)?|\.\d+)\s*([pnuµmkKM]?)\s*(?:ohm|Ω|F|V|s|A)?\s*", text)
    value = float(match[1]) * PREFIXES[match[2]] if match else math.nan
    if not math.isfinite(value):
        raise UsageError(f"{text!r} is no value: write 47k, 10n, 3.3")
    return value


class Value(click.ParamType[float]):
    """A number with a prefix."""

    name = "value"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """See `number`; a leading minus is allowed for voltages."""
        if isinstance(value, float | int):
            return float(value)
        text = str(value)
        return -number(text[1:]) if text.startswith("-") else number(text)


VALUE = Value()


@click.command(context_settings={"ignore_unknown_options": False})
@click.option("--system", type=click.Choice(["12", "24"]), default="12", show_default=True, help="System voltage.")
@click.option("--highest", type=VALUE, help="Highest voltage to measure. Default: 18 V (12 V systems), 34 V (24 V systems).")
@click.option("--lowest", type=VALUE, default=0.0, show_default=True, help="Lowest voltage; below 0 for a ground lead.")
@click.option("--reference", type=VALUE, default=3.3, show_default=True, help="Converter's reference and full scale.")
@click.option("--source", type=VALUE, default=10e3, show_default=True, help="Most source impedance for the converter.")
@click.option("--dropout", type=VALUE, default=100e-6, show_default=True, help="Shortest dropout to see (100u).")
@click.option("--loading", type=VALUE, default=1e-3, show_default=True, help="Most current from the circuit under test.")
@click.option("--series", default="E24", show_default=True, help="Preferred values, IEC 60063.")
@click.option("--tolerance", type=click.FloatRange(0.0001, 0.2), default=0.01, show_default=True, help="Of the resistors.")
@click.option("--power", type=VALUE, default=0.25, show_default=True, help="Resistors' rated power, W.")
@click.option("--working", type=VALUE, default=250.0, show_default=True, help="Resistors' working voltage.")
@click.option("--check", "given", metavar="TOP,BOTTOM[,C[,SERIES[,UP]]]", help="Check these values, for example 47k,10k,10n.")
@click.option("--no-clamp", is_flag=True, help="Without external clamp diodes (with --check).")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def divider(given: str | None, no_clamp: bool, tolerance: float, as_json: bool, **o: Any) -> None:
    """Design the network between a clip and the converter, or check one you have."""
    from firstcrank.divider.network import Network
    from firstcrank.divider.propose import Wishes, check, propose
    from firstcrank.divider.stress import Ratings

    highest_v = o["highest"] if o["highest"] is not None else {"12": 18.0, "24": 34.0}[o["system"]]
    wishes = Wishes(
        int(o["system"]),
        highest_v,
        o["lowest"],
        o["reference"],
        o["source"],
        o["dropout"],
        o["loading"],
        o["series"].upper(),
        Ratings(o["power"], o["working"]),
    )
    if given is not None:
        values = [number(part) for part in given.split(",")]
        if not 2 <= len(values) <= 5:
            raise UsageError("--check wants TOP,BOTTOM and perhaps C, SERIES, UP: 47k,10k,10n")
        values += [0.0] * (5 - len(values))
        top, bottom, capacitor, in_series, up = values
        proposal, unmet = check(Network(top, bottom, capacitor, in_series, up, wishes.reference_v, not no_clamp), wishes)
        shown, lacking = [proposal], unmet
    else:
        shown, lacking = propose(wishes), ()
    if as_json:
        tables = [_table(p, wishes, tolerance) for p in shown]
        click.echo(json.dumps({"networks": tables, "unmet": list(lacking)}))
        return
    for rank, proposal in enumerate(shown, start=1):
        _show(rank if given is None else 0, proposal, wishes, tolerance, full=rank == 1)
    if lacking:
        click.echo(f"\nDoes not meet: {', '.join(lacking)}")


def _table(proposal: Proposal, wishes: Wishes, tolerance: float) -> dict[str, Any]:
    from firstcrank.divider.budget import Parts, budget

    n = proposal.network
    spent = budget(n, Parts(resistor_rel=tolerance), float(wishes.system_v))
    return {
        "r_top_ohm": n.r_top_ohm,
        "r_bottom_ohm": n.r_bottom_ohm,
        "c_filter_f": n.c_filter_f,
        "r_series_ohm": n.r_series_ohm,
        "r_up_ohm": n.r_up_ohm,
        "ratio": n.ratio,
        "full_scale_v": n.full_scale_v,
        "lowest_v": n.lowest_v,
        "step_v": n.step_v,
        "source_ohm": n.source_ohm,
        "loading_a": n.loading_a(float(wishes.system_v)),
        "corner_hz": n.corner_hz if n.c_filter_f else None,
        "settling_s": n.settling_s,
        "shortest_dropout_s": proposal.dropout_s,
        "adc_load_rel": n.load_share,
        "adc_sample_rel": n.sample_share,
        "u_v": spent.u_v,
        "expanded_v": spent.expanded_v,
        "worst_low_v": spent.worst_low_v,
        "worst_high_v": spent.worst_high_v,
        "budget": [{"what": line.what, "limit_v": line.limit_v, "u_v": line.u_v} for line in spent.lines],
        "stress": [
            {
                "pulse": s.pulse.name,
                "volts": s.pulse.volts,
                "clamp_a": s.clamp_a,
                "r_top_v": s.top_v,
                "r_top_w": s.top_w,
                "survives": s.survives,
                "why": s.why,
                "source": s.pulse.source,
            }
            for s in proposal.stresses
        ],
    }


def _ohms(value: float) -> str:
    for factor, prefix in ((1e6, "M"), (1e3, "k")):
        if value >= factor:
            return f"{value / factor:g} {prefix}Ω"
    return f"{value:g} Ω"


def _values(network: Network) -> str:
    parts = [f"{_ohms(network.r_top_ohm)} over {_ohms(network.r_bottom_ohm)}"]
    if network.r_up_ohm:
        parts.append(f"{_ohms(network.r_up_ohm)} to the reference")
    if network.c_filter_f:
        parts.append(f"{network.c_filter_f * 1e9:g} nF")
    if network.r_series_ohm:
        parts.append(f"{_ohms(network.r_series_ohm)} to the pin")
    return ", ".join(parts)


def _show(rank: int, proposal: Proposal, wishes: Wishes, tolerance: float, full: bool) -> None:
    from firstcrank.divider.budget import Parts, budget
    from firstcrank.units import text_s

    n = proposal.network
    click.echo(("" if rank < 2 else "\n") + (f"{rank}. " if rank else "") + _values(n))
    click.echo(
        f"   measures {n.lowest_v + 0.0:.2f} to {n.full_scale_v:.2f} V in steps of {n.step_v * 1e3:.1f} mV; "
        f"source {_ohms(round(n.source_ohm))}; takes {n.loading_a(float(wishes.system_v)) * 1e3:.2f} mA"
    )
    click.echo(f"   shortest dropout seen {text_s(proposal.dropout_s)}; settles to 12 bits in {text_s(n.settling_s)}")
    lost = ", ".join(s.pulse.name for s in proposal.not_survived) or "nothing that was tried"
    click.echo(f"   does not survive: {lost}")
    if not full:
        return
    at_v = float(wishes.system_v)
    spent = budget(n, Parts(resistor_rel=tolerance), at_v)
    if n.c_filter_f:
        click.echo(f"   filter corner {n.corner_hz:.0f} Hz; one sample moves the node by {n.sample_share:.2%} at the most")
    click.echo(f"   the converter's input resistance may pull the reading down by up to {n.load_share:.1%}: calibrate")
    ends = f"{spent.worst_low_v:+.2f} to {spent.worst_high_v:+.2f} V"
    click.echo(f"   at {at_v:g} V uncalibrated: ± {spent.expanded_v:.2f} V (95 %); divider alone {ends}")
    for line in spent.lines:
        click.echo(f"      {line.what:<34}limit {line.limit_v * 1e3:7.1f} mV   u {line.u_v * 1e3:6.1f} mV")
    for s in proposal.stresses:
        outcome = "survives" if s.survives else f"DOES NOT SURVIVE: {s.why}"
        click.echo(f"      {s.pulse.name:<28}{s.pulse.volts:+6.0f} V   clamp {s.clamp_a * 1e3:+7.2f} mA   {outcome}")
