"""Crank speed and evenness as findings; neither decides the verdict."""

from __future__ import annotations

from firstcrank.analysis.crank_speed import crank_speed
from firstcrank.analysis.evenness import unevenness
from firstcrank.analysis.finding import compared
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.measured import COVERAGE, Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result


def check_speed(view: View) -> list[Finding]:
    """Speed of the longest crank against what a cold diesel needs to start; refused ones say why."""
    check = CheckId.CRANK_SPEED
    if not view.cranks:
        return []
    crank = max(view.cranks, key=lambda c: c.end_s - c.start_s)
    if crank.speed_rpm is None:
        return [Finding(check, Result.NOT_MEASURED, crank.speed_note, at_s=crank.start_s)]
    speed = Measured(crank.speed_rpm, (crank.speed_uncertainty_rpm or 0.0) / COVERAGE, "rpm")
    limit = view.limits["crank_speed_warn_rpm"]
    text = f"crank speed {speed.value:.0f} ± {speed.expanded:.0f} rpm"
    finding = compared(check, speed, text, above=limit, missed=Result.WARN, undecided=Result.WARN)
    if finding.result is Result.WARN:
        text += f", below or near the {limit:.0f} rpm that one maker asks for a start"
    return [Finding(check, finding.result, text, speed, limit, crank.start_s, Phase.CRANK, conformance=finding.conformance)]


def check_evenness(view: View) -> list[Finding]:
    """One sentence where a compression stands out."""
    check, cylinders = CheckId.CRANK_EVENNESS, view.context.cylinders
    if cylinders is None or not view.cranks:
        return []
    crank = max(view.crank_intervals, key=lambda c: c.end_s - c.start_s)
    begin_s = crank.sag_s if crank.sag_s is not None else crank.start_s
    speed = crank_speed(view.trace, begin_s, crank.end_s, cylinders)
    if speed.rhythm is None:
        return []
    found = unevenness(speed.rhythm, cylinders)
    if found is None:
        return [Finding(check, Result.PASS, "no compression stands out", at_s=begin_s, phase=Phase.CRANK)]
    text = f"{found.sentence} (a hint: valve clearance, injector pipe open, a worn cylinder, or an uneven starter)"
    return [Finding(check, Result.WARN, text, Measured(found.deficit, found.u), None, begin_s, Phase.CRANK)]
