"""Crank speed and evenness as findings; neither decides the verdict on the key feed."""

from __future__ import annotations

from firstcrank.analysis.crank_speed import crank_speed
from firstcrank.analysis.decision import decide
from firstcrank.analysis.evenness import unevenness
from firstcrank.analysis.findings import Finding
from firstcrank.analysis.view import View


def check_speed(view: View) -> list[Finding]:
    """Speed of the longest crank against what a cold diesel needs to start; refused ones say why."""
    if not view.cranks:
        return []
    crank = max(view.cranks, key=lambda c: c.end_s - c.start_s)
    if crank.speed_rpm is None:
        return [Finding("crank_speed", "not measured", crank.speed_note, unit="rpm", at_s=crank.start_s, blocks=False)]
    u = (crank.speed_uncertainty_rpm or 0.0) / 2.0
    limit = view.limits["crank_speed_warn_rpm"]
    decision = decide(crank.speed_rpm, u, limit, "above")
    text = f"crank speed {crank.speed_rpm:.0f} ± {2 * u:.0f} rpm"
    slow = decision.outcome != "met"
    if slow:
        text += f", below or near the {limit:.0f} rpm that one maker asks for a start"
    return [
        Finding(
            "crank_speed",
            "warn" if slow else "pass",
            text,
            crank.speed_rpm,
            2 * u,
            limit,
            "rpm",
            crank.start_s,
            "crank",
            decision.conformance,
            blocks=False,
        )
    ]


def check_evenness(view: View) -> list[Finding]:
    """One sentence where a compression stands out."""
    cylinders = view.context.cylinders
    if cylinders is None or not view.cranks:
        return []
    phase = max(view.named("crank"), key=lambda p: p.end_s - p.start_s, default=None)
    if phase is None:
        return []
    speed = crank_speed(view.trace, phase.start_s, phase.end_s, cylinders)
    if speed.rhythm is None:
        return []
    found = unevenness(speed.rhythm, cylinders)
    if found is None:
        return [Finding("crank_evenness", "pass", "no compression stands out", at_s=phase.start_s, phase="crank", blocks=False)]
    return [
        Finding(
            "crank_evenness",
            "warn",
            f"{found.sentence} (a hint: valve clearance, injector pipe open, a worn cylinder, or an uneven starter)",
            found.deficit,
            2 * found.u,
            at_s=phase.start_s,
            phase="crank",
            blocks=False,
        )
    ]
