"""A designed or checked input network as plain values: what `divider --json` prints."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, TypedDict

from firstcrank.divider.budget import Budget, Parts, budget
from firstcrank.divider.converters import Converter
from firstcrank.divider.network import Network
from firstcrank.divider.propose import Proposal, Requirements, shown_v
from firstcrank.divider.stress import discharge
from firstcrank.divider.transfer import nominal_volts


class BudgetTable(TypedDict):
    """One part of the uncertainty, at `budget_at_v`."""

    what: str
    limit_v: Annotated[float, "how far it can be off, at the clip"]
    u_v: Annotated[float, "standard uncertainty"]


class StressTable(TypedDict):
    """What one pulse does at its peak."""

    pulse: Annotated[str, "its name"]
    volts: Annotated[float, "at the clip"]
    clamp_a: Annotated[float, "through the clamp diode"]
    pin_v: Annotated[float, "at the node, if the chip's own protection took nothing"]
    pin_protection_a: Annotated[float, "what that protection takes"]
    r_top_v: Annotated[float, "across the whole upper resistor"]
    part_v: Annotated[float, "across the worst part of it"]
    part_w: Annotated[float, "in that part"]
    part_j: Annotated[float, "in that part, over the pulse"]
    survives: bool
    why: Annotated[str, "why it does not survive; empty where it does"]
    source: Annotated[str, "where the pulse is from"]


class DischargeTable(TypedDict):
    """A person's discharge, 8 kV."""

    clamp_a: float
    pin_v: float
    part_v: Annotated[float, "across the worst part of the upper resistor"]
    part_j: Annotated[float, "in that part"]


class NetworkTable(TypedDict):
    """An input network, what it does and what it survives."""

    r_top_ohm: Annotated[float, "from the clip to the node"]
    r_top_parts_ohm: Annotated[list[float], "its parts, from the clip on; one where it is one"]
    r_bottom_ohm: Annotated[float, "from the node to battery negative"]
    c_filter_f: Annotated[float, "across r_bottom; 0: none"]
    r_series_ohm: Annotated[float, "from the node to the pin; 0: none"]
    r_up_ohm: Annotated[float, "from the node to the reference; 0: none"]
    clamp: Annotated[str | None, "the diodes at the node; null: none"]
    converter: str
    tolerance_rel: Annotated[float, "of the resistors"]
    temperature_c: Annotated[float, "of the board"]
    ratio: Annotated[float, "volts at the clip for a volt at the node"]
    full_scale_v: Annotated[float, "highest voltage that it measures, at the clip"]
    lowest_v: Annotated[float, "lowest voltage that it measures, at the clip"]
    step_v: Annotated[float, "one code, at the clip"]
    open_reads_v: Annotated[float, "what it reads with nothing on the clip"]
    wide_codes_at_v: Annotated[list[float], "where the converter's wide codes are, at the clip"]
    source_ohm: Annotated[float, "what the converter sees, without r_series"]
    budget_at_v: Annotated[float, "the voltage at the clip for which `loading_a`, `budget` and its sums hold"]
    loading_a: Annotated[float, "taken from the circuit under test"]
    corner_hz: Annotated[float | None, "of the filter, -3 dB; null without a capacitor"]
    settling_s: Annotated[float, "to half a step of 12 bits"]
    shortest_dropout_s: Annotated[float, "that is seen"]
    adc_load_rel: Annotated[float, "how much lower the converter's input resistance can make a reading"]
    adc_sample_rel: Annotated[float, "how much of the node's voltage one sample can take"]
    u_v: Annotated[float, "standard uncertainty of a reading, not calibrated"]
    expanded_v: Annotated[float, "the same, expanded (95 %)"]
    worst_low_v: Annotated[float, "the divider alone, every part at its limit"]
    worst_high_v: Annotated[float, "the same, the other way"]
    budget: Annotated[list[BudgetTable], "what the uncertainty is made of"]
    stress: Annotated[list[StressTable], "every pulse of the vehicle's system"]
    discharge_8kv: DischargeTable


class DividerTable(TypedDict):
    """What `divider --json` prints."""

    system_v: Annotated[int, "12 or 24"]
    networks: Annotated[list[NetworkTable], "best first; with --check the one that was given"]
    unmet: Annotated[list[str], "requirements that the given one does not meet; the exit code is 5 where there are any"]


def table_of(shown: Sequence[Proposal], unmet: Sequence[str], requirements: Requirements, celsius: float) -> DividerTable:
    """Volts, ohms, farads, seconds, amperes; `celsius` is the board's temperature."""
    networks = [_network(proposal, requirements, celsius) for proposal in shown]
    return {"system_v": requirements.system_v, "networks": networks, "unmet": list(unmet)}


def budget_of(proposal: Proposal, requirements: Requirements, celsius: float) -> Budget:
    """The uncertainty at the voltage that is shown, with the requirements' resistors and converter."""
    parts = Parts(
        resistor_rel=requirements.ratings.tolerance,
        converter=requirements.converter,
        other_lead_v=14.4 * requirements.system_v / 12.0,
    )
    return budget(proposal.network, parts, shown_v(requirements), celsius)


def wide_codes_v(network: Network, of: Converter) -> tuple[float, ...]:
    """Clip volts of the converter's wide codes; none where it has none."""
    return tuple(nominal_volts(network, code) for code in of.wide_codes)


def _network(proposal: Proposal, requirements: Requirements, celsius: float) -> NetworkTable:
    n, of = proposal.network, requirements.converter
    spent = budget_of(proposal, requirements, celsius)
    discharged = discharge(n, requirements.ratings)
    return {
        "r_top_ohm": n.r_top_ohm,
        "r_top_parts_ohm": list(n.parts_ohm),
        "r_bottom_ohm": n.r_bottom_ohm,
        "c_filter_f": n.c_filter_f,
        "r_series_ohm": n.r_series_ohm,
        "r_up_ohm": n.r_up_ohm,
        "clamp": n.clamp.name if n.clamp else None,
        "converter": requirements.converter.name,
        "tolerance_rel": requirements.ratings.tolerance,
        "temperature_c": celsius,
        "ratio": n.ratio,
        "full_scale_v": n.full_scale_v,
        "lowest_v": n.lowest_v,
        "step_v": n.step_v,
        "open_reads_v": n.open_reads_v(of.input_ohm),
        "wide_codes_at_v": list(wide_codes_v(n, of)),
        "source_ohm": n.source_ohm,
        "budget_at_v": shown_v(requirements),
        "loading_a": n.loading_a(shown_v(requirements)),
        "corner_hz": n.corner_hz if n.c_filter_f else None,
        "settling_s": n.settling_s(of.sample_f),
        "shortest_dropout_s": proposal.dropout_s,
        "adc_load_rel": n.load_share(of.input_ohm),
        "adc_sample_rel": n.sample_share(of.sample_f),
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
                "pin_v": s.node_v,
                "pin_protection_a": s.pin_a,
                "r_top_v": s.top_v,
                "part_v": s.part_v,
                "part_w": s.part_w,
                "part_j": s.part_j,
                "survives": s.survives,
                "why": s.why,
                "source": s.pulse.source,
            }
            for s in proposal.stresses
        ],
        "discharge_8kv": {
            "clamp_a": discharged.clamp_a,
            "pin_v": discharged.node_v,
            "part_v": discharged.part_v,
            "part_j": discharged.part_j,
        },
    }
