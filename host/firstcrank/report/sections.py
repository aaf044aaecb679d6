"""The sections of a report, in order: a plain table of functions from the facts to parts. A new section is one function here.

A section that has nothing to show returns no part. Sections are not taken from other packages: a report shows the verdict and
its evidence as this program judged them.
"""

from __future__ import annotations

from collections.abc import Callable

from firstcrank.report.document import Box, Bullets, Figure, Heading, Pairs, Paragraph, Part, Rows, Title
from firstcrank.report.drawing import close_up, overview
from firstcrank.report.facts import CAUTIONS, MOST_CLOSE_UPS, RESULT_LABELS, TITLE, Facts, sentence
from firstcrank.report.summary import losses

Parts = list[Part]
MOST_CAUSES = 3


def _title(facts: Facts) -> Parts:
    return [Title(TITLE, facts.shop_name, facts.shop_logo)]


def _head(facts: Facts) -> Parts:
    rows = facts.head_rows()
    return [Pairs(tuple(rows))] if rows else []


def _verdict(facts: Facts) -> Parts:
    judgement = facts.judgement
    if not facts.other_fault:
        return [Box(judgement.verdict, "Key feed", (judgement.verdict,), "", facts.plain)]
    large = (judgement.verdict, facts.other_fault)
    return [Box(judgement.verdict, "Whole vehicle", large, f"Key feed: {judgement.feed.verdict}", facts.plain)]


def _faults(facts: Facts) -> Parts:
    return _listed("Other fault found", facts.fault_lines())


def _reasons(facts: Facts) -> Parts:
    return _listed("Key feed" if facts.other_fault else "Why", [sentence(r) for r in facts.judgement.feed.reasons])


def _tolerated(facts: Facts) -> Parts:
    return _listed("Tolerated", [sentence(line) for line in facts.judgement.tolerated])


def _next_check(facts: Facts) -> Parts:
    cautions = tuple(f"Caution: {line}" for line in facts.judgement.cautions)
    return [Heading("What to check next"), Paragraph(facts.next_check), *([Bullets(cautions, small=True)] if cautions else [])]


def _tested(facts: Facts) -> Parts:
    judgement = facts.judgement
    lines = [f"Tested: {line}" for line in facts.tested()]
    lines += [f"Not tested: {line}" for line in judgement.not_measured]
    lines += [f"Taken as given: {line}" for line in judgement.assumptions]
    return _listed("What was tested and what was not", lines, small=True)


def _findings(facts: Facts) -> Parts:
    rows = tuple(facts.finding_rows())
    if not rows:
        return []
    heads = ("Result", "What", "Measured", "± (95 %)", "Limit")
    bold = tuple(number for number, row in enumerate(rows) if row[0] == RESULT_LABELS["fail"])
    return [Heading("Findings"), Rows(rows, (0.1, 0.54, 0.12, 0.12, 0.12), heads, bold)]


def _whole_start(facts: Facts) -> Parts:
    trace = facts.recording.trace
    return [Heading("The whole start"), Figure(overview(trace, facts.judgement))] if len(trace) > 1 else []


def _losses(facts: Facts) -> Parts:
    lost = losses(facts.judgement)
    if not lost or len(facts.recording.trace) < 2:
        return []
    minimum_v = facts.limits["module_minimum_v"]
    parts: Parts = [Heading("Each loss of the feed")]
    parts += [Figure(close_up(facts.recording.trace, drop, minimum_v)) for drop in lost[:MOST_CLOSE_UPS]]
    if len(lost) > MOST_CLOSE_UPS:
        parts.append(Paragraph(f"and {len(lost) - MOST_CLOSE_UPS} more", small=True))
    return parts


def _causes(facts: Facts) -> Parts:
    """A caution stands in full once: beside "What to check next", or beside the first check that needs it here."""
    lines, shown = [], set(facts.judgement.cautions)
    for number, cause in enumerate(facts.judgement.likely_causes[:MOST_CAUSES]):
        cautions = "".join(f" Caution: {line}" for line in cause.cautions if line not in shown)
        shown |= set(cause.cautions)
        check = f". Check: {cause.next_check}{cautions}" if number else ""  # the first one's is "What to check next"
        lines.append(f"{cause.evidence} (confidence {cause.confidence * 100:.0f} %){check}")
    return _listed(facts.cause_heading(), lines)


def _by_hand(facts: Facts) -> Parts:
    lines = [f"{m['what']}: {m['value']:g} {m['unit']}{_of(m.get('meter'))}" for m in facts.measurements]
    lines += [f"{n['text']}{_of(n.get('who'))}" for n in facts.notes]
    return _listed("Measured by hand, and notes", lines, small=True)


def _cautions(facts: Facts) -> Parts:
    return _listed("Cautions", list(CAUTIONS), small=True)


def _board(facts: Facts) -> Parts:
    rows = facts.board_rows()
    return [Heading("Board and calibration"), Pairs(tuple(rows))] if rows else []


def _limits(facts: Facts) -> Parts:
    return [
        Heading("Limits and where they come from"),
        Paragraph(f"{facts.limits.name}. The engine maker's figure wins over any of these.", small=True),
        Rows(tuple(facts.limit_rows()), (0.42, 0.1, 0.48)),
    ]


def _identity(facts: Facts) -> Parts:
    return [Paragraph(f"Recording SHA-256: {facts.content_hash}. Page made {facts.made}.", small=True)]


SECTIONS: tuple[Callable[[Facts], Parts], ...] = (
    _title,
    _head,
    _verdict,
    _faults,
    _reasons,
    _tolerated,
    _next_check,
    _tested,
    _findings,
    _whole_start,
    _losses,
    _causes,
    _by_hand,
    _cautions,
    _board,
    _limits,
    _identity,
)


def document(facts: Facts) -> tuple[Part, ...]:
    """All parts of a report, in the order in which they are shown."""
    return tuple(part for section in SECTIONS for part in section(facts))


def _listed(heading: str, lines: list[str], small: bool = False) -> Parts:
    return [Heading(heading), Bullets(tuple(lines), small)] if lines else []


def _of(name: object) -> str:
    return f" ({name})" if name else ""
