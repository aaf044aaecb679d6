"""Likely causes, ranked, each with its evidence and the next check with a meter."""

from __future__ import annotations

from firstcrank.analysis.findings import Cause, Finding
from firstcrank.analysis.view import View


def likely_causes(view: View, findings: tuple[Finding, ...]) -> tuple[Cause, ...]:
    """Causes that the evidence favours, the likeliest first; empty where it favours none."""
    return ()
