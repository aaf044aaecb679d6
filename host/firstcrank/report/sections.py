"""The sections of a report, in order: a plain table of functions from the facts to parts. A new section is one function here.

First what a customer reads, one or two pages; then the annex, for whoever checks the work. A section that has nothing to show returns
no part. Sections are not taken from other packages: a report shows the verdict and its evidence as this program judged them.
"""

from __future__ import annotations

from collections.abc import Callable

from firstcrank.report.before_after import Side, crank_lines, side_by_side
from firstcrank.report.customer_words import for_customer
from firstcrank.report.detail import detail
from firstcrank.report.document import Annex, Box, Bullets, Figure, Heading, Pairs, Paragraph, Part, Photo, Rows, Title
from firstcrank.report.drawing import around_the_cranks, close_up, overview
from firstcrank.report.facts import CAUTIONS, MOST_CLOSE_UPS, TITLE, WORDS, Facts, sentence
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


def _done(facts: Facts) -> Parts:
    """Notes that were chosen for the customer; every other one stays in the shop."""
    chosen = [n for n in facts.notes if n.get("for_customer")]
    return _listed("What was done", [f"{n['text']}{_of(n.get('who'))}" for n in chosen])


def _before_and_after(facts: Facts) -> Parts:
    if facts.earlier is None or not facts.judgement.cranks:
        return []
    name, trace, judgement = facts.earlier
    after = Side(f"start {facts.start_name}, {facts.recorded[:10]}".rstrip(", "), facts.recording.trace, facts.judgement)
    return [Heading("Before and after"), *side_by_side(Side(name, trace, judgement), after, most=1)]


def _cranks(facts: Facts) -> Parts:
    several = len(facts.judgement.cranks) > 1
    return _listed("Crank by crank", [sentence(line) for line in crank_lines(facts.judgement)]) if several else []


def _photos(facts: Facts) -> Parts:
    return [Heading("Photos"), *(Photo(content, caption) for content, caption in facts.photos)] if facts.photos else []


def _annex(facts: Facts) -> Parts:
    return [Annex("Annex: how it was measured and judged")]


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
    bold = tuple(number for number, row in enumerate(rows) if row[0] == WORDS["fail"])
    return [Heading("Findings"), Rows(rows, (0.1, 0.54, 0.12, 0.12, 0.12), heads, bold)]


def _whole_start(facts: Facts) -> Parts:
    trace, judgement = facts.recording.trace, facts.judgement
    if len(trace) < 2:
        return []
    parts: Parts = [Heading("The whole start"), Figure(overview(trace, judgement), detail(trace, judgement))]
    cranks = around_the_cranks(trace, judgement)
    return [*parts, Heading("While cranking"), Figure(cranks)] if cranks is not None else parts


def _first_loss(facts: Facts) -> Parts:
    return _close_ups(facts, "The loss of the feed, closer", 0, 1)


def _losses(facts: Facts) -> Parts:
    lost = losses(facts.judgement)
    parts = _close_ups(facts, "Further losses of the feed", 1, MOST_CLOSE_UPS)
    if parts and len(lost) > MOST_CLOSE_UPS:
        parts.append(Paragraph(f"and {len(lost) - MOST_CLOSE_UPS} more", small=True))
    return parts


def _close_ups(facts: Facts, heading: str, first: int, past: int) -> Parts:
    chosen = losses(facts.judgement)[first:past]
    if not chosen or len(facts.recording.trace) < 2:
        return []
    minimum_v = facts.limits["module_minimum_v"]
    return [Heading(heading), *(Figure(close_up(facts.recording.trace, drop, minimum_v)) for drop in chosen)]


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
    return _listed("Measured by hand", lines, small=True)


def _cautions(facts: Facts) -> Parts:
    return _listed("Cautions", list(CAUTIONS), small=True)


def _board(facts: Facts) -> Parts:
    rows = facts.board_rows()
    return [Heading("Board and calibration"), Pairs(tuple(rows))] if rows else []


def _limits(facts: Facts) -> Parts:
    return [
        Heading("Limits and where they come from"),
        Paragraph(f"{facts.limits.name}. The engine maker's figure wins over any of these.", small=True),
        Rows(tuple(facts.limit_rows()), (0.42, 0.1, 0.48), ("Limit", "Value", "Source")),
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
    _done,
    _next_check,
    _before_and_after,
    _whole_start,
    _first_loss,
    _photos,
    _cautions,
    _annex,
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
SHOPS_WORDS = (_title, _head, _done, _photos, _by_hand, _board, _identity)  # theirs, or of the program itself


def document(facts: Facts) -> tuple[Part, ...]:
    """All parts of a report, in the order in which they are shown."""
    return tuple(part if section in SHOPS_WORDS else for_customer(part) for section in SECTIONS for part in section(facts))


def _listed(heading: str, lines: list[str], small: bool = False) -> Parts:
    return [Heading(heading), Bullets(tuple(lines), small)] if lines else []


def _of(name: object) -> str:
    return f" ({name})" if name else ""
