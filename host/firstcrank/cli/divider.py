"""firstcrank divider: proposes an input network, or checks one."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, TypedDict, Unpack

import click

from firstcrank.cli.say import say
from firstcrank.divider.values import number
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from firstcrank.divider.network import Network
    from firstcrank.divider.propose import Proposal, Requirements


class Value(click.ParamType[float, object]):
    """A number with a prefix."""

    name = "value"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """See `number`; a leading minus is allowed for voltages."""
        if isinstance(value, float | int):
            return float(value)
        text = str(value)
        return -number(text[1:]) if text.startswith("-") else number(text)


VALUE = Value()


class RequirementOptions(TypedDict):
    """What the network must meet; volts, ohms, seconds, amperes, watts."""

    system: str
    highest: float | None
    lowest: float
    reference: float
    source: float
    dropout: float
    loading: float
    series: str
    power: float
    working: float


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
@click.option(
    "--temperature", "celsius", type=click.FloatRange(-40, 85), default=40.0, show_default=True, help="Of the board, °C."
)
@click.option("--power", type=VALUE, default=0.6, show_default=True, help="Resistors' rated power, W.")
@click.option("--working", type=VALUE, default=350.0, show_default=True, help="Resistors' working voltage.")
@click.option(
    "--check", "given", metavar="TOP,BOTTOM[,C[,SERIES[,UP]]]", help="Check these values, for example 4x7.5k+3k,6k8,10n,4k7."
)
@click.option(
    "--clamp",
    type=click.Choice(["BAV199", "1N4148", "BAT54S", "none"], case_sensitive=False),
    default="BAV199",
    show_default=True,
)
@click.option(
    "--converter", "converter_name", type=click.Choice(["RP2040", "RP2350", "MCP3208"], case_sensitive=False), default="RP2040",
    show_default=True, help="What the input ends at: its load, offset, steps and noise count.",
)  # fmt: skip
@click.option("--no-clamp", is_flag=True, help="The same as --clamp none.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def divider(
    given: str | None,
    clamp: str,
    no_clamp: bool,
    converter_name: str,
    tolerance: float,
    celsius: float,
    as_json: bool,
    **o: Unpack[RequirementOptions],
) -> int:
    """Design the network between a clip and the converter, or check one you have.

    Every network proposed survives every pulse that is listed with it. Exit code 5: a requirement is not met, the pulses among them
    (four times 8.2 k share 1379 V with none above 350 V: enough for a coil's kick of 1000 V, not for the 1500 V listed).

    \b
    Examples:
      firstcrank divider --highest 18
      firstcrank divider --check 4x7.5k+3k,6k8,10n,4k7
      firstcrank divider --converter MCP3208 --lowest -2 --highest 4 --dropout 1m
    """
    from firstcrank.clamps import BAV199, clamp_called
    from firstcrank.divider.converters import CONVERTERS
    from firstcrank.divider.network import Network
    from firstcrank.divider.propose import Requirements, UnmetRequirementError, check, propose
    from firstcrank.divider.stress import Ratings
    from firstcrank.divider.values import in_series

    diodes = clamp_called("none" if no_clamp else clamp)
    if diodes is None and given is None:
        raise UsageError("a network without a clamp does not survive a vehicle: --clamp none is for --check only")
    highest_v = o["highest"] if o["highest"] is not None else {"12": 18.0, "24": 34.0}[o["system"]]
    requirements = Requirements(
        int(o["system"]),
        highest_v,
        o["lowest"],
        o["reference"],
        o["source"],
        o["dropout"],
        o["loading"],
        o["series"].upper(),
        Ratings(o["power"], o["working"], tolerance),
        diodes or BAV199,
        CONVERTERS[converter_name],
    )
    if given is not None:
        fields = given.split(",")
        if not 2 <= len(fields) <= 5:
            raise UsageError("--check wants TOP,BOTTOM and perhaps C, SERIES, UP: 4x7.5k+3k,6k8,10n,4k7")
        top_parts = in_series(fields[0])
        bottom, capacitor, in_series_ohm, up = [number(part) for part in fields[1:]] + [0.0] * (5 - len(fields))
        network = Network(sum(top_parts), bottom, capacitor, in_series_ohm, up, requirements.reference_v, diodes, top_parts)
        proposal, unmet = check(network, requirements)
        shown, lacking = [proposal], unmet
    else:
        shown, lacking = propose(requirements), ()
    if as_json:
        from firstcrank.cli.divider_table import table_of

        click.echo(json.dumps(table_of(shown, lacking, requirements, celsius)))
    else:
        for rank, proposal in enumerate(shown, start=1):
            _show(rank if given is None else 0, proposal, requirements, celsius, full=rank == 1)
        if lacking:
            say("")
            say(f"Does not meet: {', '.join(lacking)}")
    return UnmetRequirementError.exit_code if lacking else 0


def _values(network: Network) -> str:
    from firstcrank.divider.values import written, written_series

    parts = [f"{written_series(network.parts_ohm)} over {written(network.r_bottom_ohm, 'Ω')}"]
    if network.r_up_ohm:
        parts.append(f"{written(network.r_up_ohm, 'Ω')} to the reference")
    if network.c_filter_f:
        parts.append(written(network.c_filter_f, "F"))
    if network.r_series_ohm:
        parts.append(f"{written(network.r_series_ohm, 'Ω')} to the pin")
    parts.append(f"clamp {network.clamp.name} to the reference and ground" if network.clamp else "NO CLAMP")
    return ", ".join(parts)


def _show(rank: int, proposal: Proposal, requirements: Requirements, celsius: float, full: bool) -> None:
    from firstcrank.cli.divider_table import budget_of, wide_codes_v
    from firstcrank.divider.propose import dropout_from_v, shown_v
    from firstcrank.divider.stress import discharge
    from firstcrank.divider.values import written
    from firstcrank.units import format_duration

    n, of = proposal.network, requirements.converter
    at_v = shown_v(requirements)
    if rank >= 2:
        say("")
    say((f"{rank}. " if rank else "") + _values(n))
    say(
        f"   measures {n.lowest_v + 0.0:.2f} to {n.full_scale_v:.2f} V in steps of {n.step_v * 1e3:.1f} mV; "
        f"source {written(n.source_ohm, 'Ω')}; takes {n.loading_a(at_v) * 1e3:.2f} mA at {at_v:g} V"
    )
    fall = f"{dropout_from_v(requirements):g} V to nothing, across {0.7 * dropout_from_v(requirements):g} V"
    settles = format_duration(n.settling_s(of.sample_f))
    say(f"   shortest dropout seen {format_duration(proposal.dropout_s)} ({fall}); settles to 12 bits in {settles}")
    lost = ", ".join(s.pulse.name for s in proposal.not_survived)
    say(f"   DOES NOT SURVIVE: {lost}" if lost else f"   survives all {len(proposal.stresses)} pulses listed")
    if not full:
        return
    spent = budget_of(proposal, requirements, celsius)
    if n.c_filter_f:
        say(
            f"   filter corner {n.corner_hz:.0f} Hz; one sample moves the node by {n.sample_share(of.sample_f):.2%} at the most"
        )
    load = n.load_share(of.input_ohm)
    if load:
        say(f"   {of.name}: its input resistance may pull the reading down by up to {load:.1%}: calibrate")
    else:
        say(f"   {of.name}: its input resistance does not load the divider")
    if n.r_up_ohm:
        say(f"   with nothing on the clip it reads {n.open_reads_v(of.input_ohm):.2f} V")
    if of.wide_codes:
        say(f"   {of.name}: wide codes (erratum E11) at {', '.join(f'{v:.2f}' for v in wide_codes_v(n, of))} V")
    ends = f"{spent.worst_low_v:+.2f} to {spent.worst_high_v:+.2f} V"
    say(
        f"   at {at_v:g} V uncalibrated, resistors ± {requirements.ratings.tolerance * 100:.3g} %, {celsius:g} °C: "
        f"± {spent.expanded_v:.2f} V (95 %); divider alone {ends}"
    )
    for line in spent.lines:
        say(f"      {line.what:<42}limit {line.limit_v * 1e3:7.1f} mV   u {line.u_v * 1e3:6.1f} mV")
    say(
        "   pulses: clamp current, pin if the chip's own protection took nothing, what that takes, worst part of the upper resistor"
    )
    for s in proposal.stresses:
        outcome = "survives" if s.survives else f"DOES NOT SURVIVE: {s.why}"
        say(
            f"      {s.pulse.name:<26}{s.pulse.volts:+6.0f} V {s.clamp_a * 1e3:+7.2f} mA {s.node_v:+6.2f} V {s.pin_a * 1e3:+6.2f} mA "
            f"{s.part_v:5.0f} V {s.part_w:6.2f} W   {outcome}"
        )
    discharged = discharge(n, requirements.ratings)
    say(
        f"   a person's discharge, 8 kV: {discharged.clamp_a:.2f} A in the clamp, {discharged.part_v:.0f} V across one part rated "
        f"{requirements.ratings.working_v:g} V: not rated for it, touch the vehicle's metal first"
    )
