"""Two starts, or two cranks, side by side: what was measured in each, what changed, and the curves of both in one picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from firstcrank.analysis.compare import Comparison, compare
from firstcrank.model.judgement import Finding, Judgement
from firstcrank.model.vocabulary import CheckId, Phase, Result, Verdict, beside
from firstcrank.report.changes import SAME, changes, crank_result
from firstcrank.report.document import Bullets, Figure, Heading, Paragraph, Part, Rows, Title
from firstcrank.report.drawing import HEADROOM, STYLES, Curve, Drawing, Style, alt_text
from firstcrank.report.inputs import RESULT_LABELS, number
from firstcrank.report.summary import losses
from firstcrank.trace import FloatArray, Trace
from firstcrank.units import format_duration, sentence

TITLE = "Before and after"
FROM_STARTER = "seconds from the starter engaging"
WIDTHS = (0.4, 0.3, 0.3)
DRAWN = ("key_switch", "battery", "starter_coil")
BEFORE = Style("#777777", (), "before", "before")
AFTER = Style("#0072B2", (6, 1), "after", "after")


@dataclass(frozen=True, slots=True)
class Side:
    """A start as one side of a comparison; `crank` is the crank meant, from 1, None for the start as a whole."""

    name: str
    trace: Trace
    judgement: Judgement
    crank: int | None = None

    @property
    def which(self) -> int:
        """The crank whose curves are drawn."""
        return self.crank or 1

    @property
    def result(self) -> str:
        """Of the crank that is meant, on feed and supply; of the start as a whole its verdict."""
        if self.crank is None:
            return beside(self.judgement.verdict, self.judgement.feed.verdict)
        found = crank_result(self.judgement, self.crank)
        return {Result.PASS: "good", Result.WARN: "good, with a remark", Result.FAIL: Verdict.FAIL.value}.get(
            found or Result.UNDECIDED, "not shown"
        )


def document(before: Side, after: Side, shop_name: str = "", shop_logo: bytes = b"") -> tuple[Part, ...]:
    """The whole page. Raises ValueError where a crank that is meant is not there."""
    return (Title(TITLE, shop_name, shop_logo), *side_by_side(before, after), *_changed(before, after), *_cranks(before, after))


def side_by_side(before: Side, after: Side, most: int = len(DRAWN)) -> list[Part]:
    """A table of what was measured and a picture of each lead that both have, `most` pictures at most."""
    heads = ("", f"Before: {before.name}", f"After: {after.name}")
    compared = compare((before.trace, before.judgement), (after.trace, after.judgement), (before.which, after.which))
    parts: list[Part] = [Rows(tuple(rows(before, after)), WIDTHS, heads, bold=(0,))]
    return parts + [Figure(drawing) for drawing in drawings(compared)[:most]]


def rows(before: Side, after: Side) -> list[tuple[str, str, str]]:
    """(what, before, after); what neither start shows is left out."""
    table = [(what, say(before), say(after)) for what, say in MEASURED]
    return [row for row in table if row[1] or row[2]]


def drawings(compared: Comparison) -> list[Drawing]:
    """Of each lead both starts in one picture, aligned where the starter engages; the earlier one broad and grey."""
    made = []
    for role in (r for r in DRAWN if r in compared.before_v):
        curves = (
            Curve(compared.at_s, compared.before_v[role], BEFORE, BEFORE.label, 3.0),
            Curve(compared.at_s, compared.after_v[role], AFTER, AFTER.label, 1.4),
        )
        known = np.concatenate([c.volts[np.isfinite(c.volts)] for c in curves])
        low, high = (min(0.0, float(known.min())), float(known.max())) if len(known) else (0.0, 1.0)
        label = STYLES[role].label
        drawing = Drawing(
            7.2,
            1.7,
            sentence(label),
            curves,
            _filled(compared),
            (low - 0.3, high * HEADROOM),
            borders_s=(0.0,),
            legend=True,
            time_label=FROM_STARTER,
        )
        made.append(replace(drawing, alt=alt_text(drawing)))
    return made


def _filled(compared: Comparison) -> tuple[float, float]:
    """The times at which either start has readings."""
    any_role = next(iter(compared.before_v))
    known = np.isfinite(compared.before_v[any_role]) | np.isfinite(compared.after_v[any_role])
    at_s: FloatArray = compared.at_s[known] if known.any() else compared.at_s
    return float(at_s[0]), float(at_s[-1])


def _changed(before: Side, after: Side) -> list[Part]:
    found = changes(before.judgement, after.judgement, (before.which, after.which))
    changed = [c for c in found if c.difference_text != SAME]
    same_text = f"{len(found) - len(changed)} other checks say the same in both."
    if not changed:
        return [Heading("What changed"), Paragraph(same_text)]
    table = tuple((c.name, cell(c.before), cell(c.after), c.difference_text) for c in changed)
    heads = ("Check", "Before", "After", "Change")
    return [Heading("What changed"), Rows(table, (0.34, 0.2, 0.2, 0.26), heads), Paragraph(same_text, small=True)]


def _cranks(before: Side, after: Side) -> list[Part]:
    """Every crank of both, where either has several."""
    if max(len(s.judgement.cranks) for s in (before, after)) < 2:
        return []
    one, two = crank_lines(before.judgement), crank_lines(after.judgement)
    lines = [f"Before, {line}" for line in one] + [f"After, {line}" for line in two]
    return [Heading("Crank by crank"), Bullets(tuple(lines))]


def crank_lines(judgement: Judgement) -> list[str]:
    """One line a crank: when, how long, what feed and supply did in it."""
    lines = []
    for which, crank in enumerate(judgement.cranks, start=1):
        result = crank_result(judgement, which)
        result_text = RESULT_LABELS[result] if result is not None else "not told crank by crank"
        lines.append(f"crank {which}, {crank.start_s:.1f} to {crank.end_s:.1f} s: feed and supply {result_text}")
    return lines


def cell(finding: Finding | None) -> str:
    """A finding's result and value; a dash where there is none."""
    return "-" if finding is None else f"{RESULT_LABELS[finding.result]}  {number(finding, finding.measured)}".strip()


def _of_check(check: CheckId, phase: Phase | None, largest: bool) -> Callable[[Side], str]:
    """The worst value of a check, of the crank that is meant or of all."""

    def say(side: Side) -> str:
        found = [
            f
            for f in side.judgement.findings
            if f.check is check
            and f.measured is not None
            and (phase is None or f.phase is phase)
            and (side.crank is None or f.crank in (None, side.crank))
        ]
        if not found:
            return ""
        worst = max(found, key=lambda f: (f.measured or 0.0) * (1 if largest else -1))
        return number(worst, worst.measured)

    return say


def _lost(side: Side) -> str:
    """The longest loss of the feed, of the crank that is meant or of the start."""
    found = losses(side.judgement)
    if side.crank is not None and side.crank <= len(side.judgement.cranks):
        crank = side.judgement.cranks[side.crank - 1]
        found = tuple(d for d in found if d.start_s < crank.end_s and d.end_s > crank.start_s)
    return format_duration(max(d.duration_s for d in found)) if found else "none"


def _speed(side: Side) -> str:
    cranks = side.judgement.cranks[side.which - 1 : side.which]
    speed = cranks[0].speed_rpm if cranks else None
    return "" if speed is None else f"{speed:.0f} rpm"


# What a person compares, in this order.
MEASURED: tuple[tuple[str, Callable[[Side], str]], ...] = (
    ("Result", lambda side: side.result),
    ("Longest loss of the key feed", _lost),
    ("Steady drop of the feed in START", _of_check(CheckId.FEED_DROP_STEADY, Phase.CRANK, True)),
    ("Battery at rest", _of_check(CheckId.BATTERY_REST, None, False)),
    ("Battery while cranking", _of_check(CheckId.BATTERY_CRANK, None, False)),
    ("Lowest battery voltage", _of_check(CheckId.SUPPLY_MINIMUM, None, False)),
    ("Crank speed", _speed),
)
