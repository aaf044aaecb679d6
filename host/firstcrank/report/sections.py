"""The sections of a report, in order: a plain table of functions from the inputs to parts. A new section is one function here.

First what a customer reads, one or two pages; then the annex, for whoever checks the work. A section that has nothing to show returns
no part. Sections are not taken from other packages: a report shows the verdict and its evidence as this program judged them.
"""

from __future__ import annotations

from collections.abc import Callable

from firstcrank.report.before_after import Side, crank_lines, side_by_side
from firstcrank.report.customer_text import for_customer
from firstcrank.report.detail import detail
from firstcrank.report.document import Annex, Box, Bullets, Figure, Heading, Pairs, Paragraph, Part, Photo, Rows, Title
from firstcrank.report.drawing import around_the_cranks, close_up, overview
from firstcrank.report.inputs import CAUTIONS, MOST_CLOSE_UPS, RESULT_LABELS, TITLE, ReportInputs
from firstcrank.report.summary import losses
from firstcrank.units import sentence

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


def _seen(inputs: ReportInputs) -> Parts:
    """A runaway or missing oil pressure, before anything that the readings say."""
    return _listed("Seen at the vehicle", inputs.seen_first)


def _visit(inputs: ReportInputs) -> Parts:
    return _listed("The visit", inputs.visit_lines, small=True)


def _faults(inputs: ReportInputs) -> Parts:
    return _listed("Other fault found", inputs.fault_lines())


def _reasons(inputs: ReportInputs) -> Parts:
    return _listed("Key feed" if inputs.other_fault else "Why", [sentence(r) for r in inputs.judgement.feed.reasons])


def _tolerated(inputs: ReportInputs) -> Parts:
    return _listed("Tolerated", [sentence(line) for line in inputs.judgement.tolerated])


def _next_check(inputs: ReportInputs) -> Parts:
    cautions = tuple(f"Caution: {line}" for line in inputs.judgement.cautions)
    first = [Paragraph(line) for line in inputs.seen_first]
    return [
        Heading("What to check next"),
        *first,
        Paragraph(inputs.next_check),
        *([Bullets(cautions, small=True)] if cautions else []),
    ]


def _done(inputs: ReportInputs) -> Parts:
    """Notes that were chosen for the customer; every other one stays in the shop."""
    chosen = [n for n in inputs.notes if n.get("for_customer")]
    return _listed("What was done", [f"{n['text']}{_of(n.get('who'))}" for n in chosen])


def _before_and_after(inputs: ReportInputs) -> Parts:
    if inputs.earlier is None or not inputs.judgement.cranks:
        return []
    name, trace, judgement = inputs.earlier
    after = Side(f"start {inputs.start_name}, {inputs.recorded[:10]}".rstrip(", "), inputs.recording.trace, inputs.judgement)
    return [Heading("Before and after"), *side_by_side(Side(name, trace, judgement), after, most=1)]


def _cranks(inputs: ReportInputs) -> Parts:
    several = len(inputs.judgement.cranks) > 1
    return _listed("Crank by crank", [sentence(line) for line in crank_lines(inputs.judgement)]) if several else []


def _photos(inputs: ReportInputs) -> Parts:
    return [Heading("Photos"), *(Photo(content, caption) for content, caption in inputs.photos)] if inputs.photos else []


def _annex(inputs: ReportInputs) -> Parts:
    return [Annex("Annex: how it was measured and judged")]


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
    trace, judgement = inputs.recording.trace, inputs.judgement
    if len(trace) < 2:
        return []
    parts: Parts = [Heading("The whole start"), Figure(overview(trace, judgement), detail(trace, judgement))]
    cranks = around_the_cranks(trace, judgement)
    return [*parts, Heading("While cranking"), Figure(cranks)] if cranks is not None else parts


def _first_loss(inputs: ReportInputs) -> Parts:
    return _close_ups(inputs, "The loss of the feed, closer", 0, 1)


def _losses(inputs: ReportInputs) -> Parts:
    lost = losses(inputs.judgement)
    parts = _close_ups(inputs, "Further losses of the feed", 1, MOST_CLOSE_UPS)
    if parts and len(lost) > MOST_CLOSE_UPS:
        parts.append(Paragraph(f"and {len(lost) - MOST_CLOSE_UPS} more", small=True))
    return parts


def _close_ups(inputs: ReportInputs, heading: str, first: int, past: int) -> Parts:
    chosen = losses(inputs.judgement)[first:past]
    if not chosen or len(inputs.recording.trace) < 2:
        return []
    minimum_v = inputs.limits["module_minimum_v"]
    return [Heading(heading), *(Figure(close_up(inputs.recording.trace, drop, minimum_v)) for drop in chosen)]


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
    return _listed("Measured by hand", lines, small=True)


def _cautions(inputs: ReportInputs) -> Parts:
    return _listed("Cautions", list(CAUTIONS), small=True)


def _board(inputs: ReportInputs) -> Parts:
    rows = inputs.board_rows()
    return [Heading("Board and calibration"), Pairs(tuple(rows))] if rows else []


def _limits(inputs: ReportInputs) -> Parts:
    return [
        Heading("Limits and where they come from"),
        Paragraph(f"{inputs.limits.name}. The engine maker's figure wins over any of these.", small=True),
        Rows(tuple(inputs.limit_rows()), (0.42, 0.1, 0.48), ("Limit", "Value", "Source")),
    ]


def _identity(inputs: ReportInputs) -> Parts:
    return [Paragraph(f"Recording SHA-256: {inputs.content_hash}. Page made {inputs.made}.", small=True)]


SECTIONS: tuple[Callable[[ReportInputs], Parts], ...] = (
    _title,
    _head,
    _verdict,
    _seen,
    _faults,
    _reasons,
    _tolerated,
    _done,
    _next_check,
    _before_and_after,
    _whole_start,
    _first_loss,
    _photos,
    _cautions,
    _annex,
    _visit,
    _tested,
    _cranks,
    _findings,
    _losses,
    _causes,
    _by_hand,
    _board,
    _limits,
    _identity,
)
SHOP_ONLY = (_title, _head, _done, _photos, _by_hand, _board, _identity)  # theirs, or of the program itself


def document(inputs: ReportInputs) -> tuple[Part, ...]:
    """All parts of a report, in the order in which they are shown."""
    return tuple(part if section in SHOP_ONLY else for_customer(part) for section in SECTIONS for part in section(inputs))


def _listed(heading: str, lines: list[str], small: bool = False) -> Parts:
    return [Heading(heading), Bullets(tuple(lines), small)] if lines else []


def _of(name: object) -> str:
    return f" ({name})" if name else ""
