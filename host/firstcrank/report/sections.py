"""The sections of a report, in order: a plain table of functions from the facts to parts. A new section is one function here.

A section that has nothing to show returns no part. Sections are not taken from other packages: a report shows the verdict and
its evidence as this program judged them.
"""

from __future__ import annotations

from collections.abc import Callable

from firstcrank.report.document import Box, Bullets, Figure, Heading, Pairs, Paragraph, Part, Rows, Title
from firstcrank.report.drawing import close_up, overview
from firstcrank.report.inputs import CAUTIONS, MOST_CLOSE_UPS, RESULT_LABELS, TITLE, ReportInputs, sentence
from firstcrank.report.summary import losses

Parts = list[Part]
MOST_CAUSES = 3


def _title(inputs: ReportInputs) -> Parts:
    return [Title(TITLE, inputs.shop_name, inputs.shop_logo)]


def _head(inputs: ReportInputs) -> Parts:
    rows = inputs.head_rows()
    return [Pairs(tuple(rows))] if rows else []


def _verdict(inputs: ReportInputs) -> Parts:
    judgement = inputs.judgement
    if not inputs.other_fault:
        return [Box(judgement.verdict, "Key feed", (judgement.verdict,), "", inputs.plain)]
    large = (judgement.verdict, inputs.other_fault)
    return [Box(judgement.verdict, "Whole vehicle", large, f"Key feed: {judgement.feed.verdict}", inputs.plain)]


def _faults(inputs: ReportInputs) -> Parts:
    return _listed("Other fault found", inputs.fault_lines())


def _reasons(inputs: ReportInputs) -> Parts:
    return _listed("Key feed" if inputs.other_fault else "Why", [sentence(r) for r in inputs.judgement.feed.reasons])


def _tolerated(inputs: ReportInputs) -> Parts:
    return _listed("Tolerated", [sentence(line) for line in inputs.judgement.tolerated])


def _next_check(inputs: ReportInputs) -> Parts:
    cautions = tuple(f"Caution: {line}" for line in inputs.judgement.cautions)
    return [Heading("What to check next"), Paragraph(inputs.next_check), *([Bullets(cautions, small=True)] if cautions else [])]


def _tested(inputs: ReportInputs) -> Parts:
    judgement = inputs.judgement
    lines = [f"Tested: {line}" for line in inputs.tested()]
    lines += [f"Not tested: {line}" for line in judgement.not_measured]
    lines += [f"Assumption: {line}" for line in judgement.assumptions]
    return _listed("What was tested and what was not", lines, small=True)


def _findings(inputs: ReportInputs) -> Parts:
    rows = tuple(inputs.finding_rows())
    if not rows:
        return []
    heads = ("Result", "What", "Measured", "± (95 %)", "Limit")
    bold = tuple(number for number, row in enumerate(rows) if row[0] == RESULT_LABELS["fail"])
    return [Heading("Findings"), Rows(rows, (0.1, 0.54, 0.12, 0.12, 0.12), heads, bold)]


def _whole_start(inputs: ReportInputs) -> Parts:
    trace = inputs.recording.trace
    return [Heading("The whole start"), Figure(overview(trace, inputs.judgement))] if len(trace) > 1 else []


def _losses(inputs: ReportInputs) -> Parts:
    lost = losses(inputs.judgement)
    if not lost or len(inputs.recording.trace) < 2:
        return []
    minimum_v = inputs.limits["module_minimum_v"]
    parts: Parts = [Heading("Each loss of the feed")]
    parts += [Figure(close_up(inputs.recording.trace, drop, minimum_v)) for drop in lost[:MOST_CLOSE_UPS]]
    if len(lost) > MOST_CLOSE_UPS:
        parts.append(Paragraph(f"and {len(lost) - MOST_CLOSE_UPS} more", small=True))
    return parts


def _causes(inputs: ReportInputs) -> Parts:
    """A caution stands in full once: beside "What to check next", or beside the first check that needs it here."""
    lines, shown = [], set(inputs.judgement.cautions)
    for number, cause in enumerate(inputs.judgement.likely_causes[:MOST_CAUSES]):
        cautions = "".join(f" Caution: {line}" for line in cause.cautions if line not in shown)
        shown |= set(cause.cautions)
        check = f". Check: {cause.next_check}{cautions}" if number else ""  # the first one's is "What to check next"
        lines.append(f"{cause.evidence} (confidence {cause.confidence * 100:.0f} %){check}")
    return _listed(inputs.cause_heading(), lines)


def _by_hand(inputs: ReportInputs) -> Parts:
    lines = [f"{m['what']}: {m['value']:g} {m['unit']}{_of(m.get('meter'))}" for m in inputs.measurements]
    lines += [f"{n['text']}{_of(n.get('who'))}" for n in inputs.notes]
    return _listed("Measured by hand, and notes", lines, small=True)


def _cautions(inputs: ReportInputs) -> Parts:
    return _listed("Cautions", list(CAUTIONS), small=True)


def _board(inputs: ReportInputs) -> Parts:
    rows = inputs.board_rows()
    return [Heading("Board and calibration"), Pairs(tuple(rows))] if rows else []


def _limits(inputs: ReportInputs) -> Parts:
    return [
        Heading("Limits and where they come from"),
        Paragraph(f"{inputs.limits.name}. The engine maker's figure wins over any of these.", small=True),
        Rows(tuple(inputs.limit_rows()), (0.42, 0.1, 0.48)),
    ]


def _identity(inputs: ReportInputs) -> Parts:
    return [Paragraph(f"Recording SHA-256: {inputs.content_hash}. Page made {inputs.made}.", small=True)]


SECTIONS: tuple[Callable[[ReportInputs], Parts], ...] = (
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


def document(inputs: ReportInputs) -> tuple[Part, ...]:
    """All parts of a report, in the order in which they are shown."""
    return tuple(part for section in SECTIONS for part in section(inputs))


def _listed(heading: str, lines: list[str], small: bool = False) -> Parts:
    return [Heading(heading), Bullets(tuple(lines), small)] if lines else []


def _of(name: object) -> str:
    return f" ({name})" if name else ""
