"""What a guided start writes into its recording beside the readings, and how that is found again in a recording's notes. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from firstcrank.visit.values import Visit

BURST, ANSWERED, SKIPPED, OUT_OF_ORDER = "Burst ", "Answered: ", "Skipped: ", "Out of order: "
VISIT_LINES = (BURST, ANSWERED, SKIPPED, OUT_OF_ORDER)
# What a person saw that comes before any verdict, as it stands out of order in the account, and what must not be done.
NO_OIL = "no oil pressure"
SEEN_FIRST = {
    "the engine ran away": "Do not crank again before its cause is found.",
    NO_OIL: "Do not crank again before it is known why.",
}


def account(visit: Visit) -> tuple[str, ...]:
    """What the report says of the visit beside the verdict: bursts, what was answered, skipped and out of order."""
    lines = [
        f"{BURST}{n}{_hot(visit, n)}: {b.lasted_s:.1f} s, {'the engine ran by itself' if b.ran else 'no start'}, "
        f"feed {'held' if b.feed_held else 'lost'}"
        for n, b in enumerate(visit.bursts, 1)
    ]
    lines += [f"{ANSWERED}{text}" for text in visit.answered]
    lines += [f"{SKIPPED}{text}" for text in visit.skipped]
    lines += [f"{OUT_OF_ORDER}{text}" for text in visit.noted]
    return tuple(lines)


def visit_lines(notes: Iterable[str]) -> list[str]:
    """Those of a recording's notes that a visit wrote."""
    return [line for line in notes if line.startswith(VISIT_LINES)]


def seen_first(notes: Iterable[str]) -> list[tuple[str, str]]:
    """What was seen at the vehicle that comes before any verdict, and what must not be done."""
    out_of_order = [line.removeprefix(OUT_OF_ORDER) for line in notes if line.startswith(OUT_OF_ORDER)]
    return [(line, never) for line in out_of_order for begin, never in SEEN_FIRST.items() if line.startswith(begin)]


def _hot(visit: Visit, number: int) -> str:
    return " (hot restart)" if visit.cold_bursts is not None and number > visit.cold_bursts else ""
