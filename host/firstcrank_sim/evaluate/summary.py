"""Counts trials into the tables of the Monte Carlo run."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from firstcrank_sim.evaluate.trial import Trial

SPEED_SHARE = 0.02
VERDICTS = ("PASS", "FAIL", "NO VERDICT")


def verdict_lines(trials: Sequence[Trial]) -> list[str]:
    """One row per verdict expected, one column per verdict given."""
    lines = ["| expected of the start | starts | PASS | FAIL | NO VERDICT |", "|---|---|---|---|---|"]
    stated_value = {
        "FAIL": "FAIL: breaks a limit by more than the stated uncertainty",
        "PASS": "PASS: clears every limit by twice that",
        "NEAR": "near a limit",
        "NO VERDICT": "NO VERDICT: the start cannot prove anything",
    }
    for expected_verdict, text in stated_value.items():
        mine = Counter(t.verdict for t in trials if t.expected_verdict == expected_verdict)
        total = sum(mine.values())
        cells = [f"{mine[v]} ({share(mine[v], total)})" for v in VERDICTS]
        lines.append(f"| {text} | {total} | " + " | ".join(cells) + " |")
    return lines


def share(part: int, whole: int) -> str:
    """A share as a person reads it."""
    return "-" if whole == 0 else f"{100.0 * part / whole:.2f} %"


def cause_lines(trials: Sequence[Trial]) -> list[str]:
    """Right cause first and in the first two, over single faults."""
    single = [t for t in trials if t.single]
    first = sum(t.named[:1] == (t.cause,) for t in single)
    two = sum(t.cause in t.named[:2] for t in single)
    healthy = [t for t in trials if t.cause is None and t.expected_verdict == "PASS"]
    named = sum(bool(t.named) for t in healthy)
    return [
        "| causes | starts | share |",
        "|---|---|---|",
        f"| right cause first | {first} of {len(single)} | {share(first, len(single))} |",
        f"| right cause in the first two | {two} of {len(single)} | {share(two, len(single))} |",
        f"| a cause named for a start with none | {named} of {len(healthy)} | {share(named, len(healthy))} |",
    ]


def confusion_lines(trials: Sequence[Trial]) -> list[str]:
    """True cause by the cause named first, counts."""
    counts: Counter[tuple[str, str]] = Counter()
    for t in trials:
        if t.single and t.cause is not None:
            counts[t.cause, t.named[0] if t.named else "none"] += 1
    lines = ["| true cause | named first (count) |", "|---|---|"]
    for cause in sorted({c for c, _ in counts}):
        row = sorted(((n, named) for (c, named), n in counts.items() if c == cause), reverse=True)
        lines.append(f"| {cause} | " + ", ".join(f"{named} {n}" for n, named in row) + " |")
    return lines


def dropout_lines(trials: Sequence[Trial], bin_s: float) -> list[str]:
    """Errors of start and duration."""
    start = np.abs(np.array([e for t in trials for e in t.start_error_s]))
    duration = np.abs(np.array([e for t in trials for e in t.duration_error_s]))
    partly, within, unmatched = (sum(getattr(t, name) for t in trials) for name in ("partly", "within", "unmatched"))
    total = len(start) + partly + within + unmatched
    lines = ["| dropouts of 1.2 ms and more | within one bin | 95 % within | worst |", "|---|---|---|---|"]
    for text, error in (("start", start), ("duration", duration)):
        if len(error):
            inside = int((error <= bin_s).sum())
            lines.append(
                f"| {text} | {inside} of {len(error)} ({share(inside, len(error))}) | "
                f"{np.percentile(error, 95) * 1e6:.0f} µs | {error.max() * 1e3:.2f} ms |"
            )
    slow = np.abs(np.array([e for t in trials for e in t.slow_error_s]))
    if len(slow):
        inside = int((slow <= bin_s).sum())
        lines.append(
            f"| duration where the feed sinks slowly | {inside} of {len(slow)} ({share(inside, len(slow))}) | "
            f"{np.percentile(slow, 95) * 1e6:.0f} µs | {slow.max() * 1e3:.2f} ms |"
        )
        total += len(slow)
    for text, count in (
        ("found in part, or as one with a neighbour", partly),
        ("not found, within the voltage's uncertainty of the limit", within),
        ("not found", unmatched),
    ):
        lines.append(f"| {text} | {count} of {total} | | |")
    return lines


def voltage_lines(trials: Sequence[Trial]) -> list[str]:
    """How often the true voltage lies inside the stated expanded uncertainty."""
    lines = ["| voltage | values | true value inside the stated uncertainty |", "|---|---|---|"]
    kinds = sorted({v[0] for t in trials for v in t.volts})
    total = inside_all = 0
    for kind in kinds:
        pairs = [(e, u) for t in trials for k, e, u in t.volts if k == kind]
        inside = sum(abs(e) <= u for e, u in pairs)
        total, inside_all = total + len(pairs), inside_all + inside
        lines.append(f"| {kind} | {len(pairs)} | {share(inside, len(pairs))} |")
    lines.append(f"| all | {total} | {share(inside_all, total)} |")
    return lines


def speed_lines(trials: Sequence[Trial]) -> list[str]:
    """Crank speed against the turned angle."""
    pairs = [t.speed for t in trials if t.speed is not None]
    stated = [(true, stated_value) for true, stated_value in pairs if stated_value is not None]
    good = sum(abs(stated_value / true - 1.0) <= SPEED_SHARE for true, stated_value in stated)
    double = sum(stated_value / true > 1.8 or stated_value / true < 0.55 for true, stated_value in stated)
    healthy = [t.speed for t in trials if t.speed is not None and t.healthy_speed]
    refused = sum(stated_value is None for _, stated_value in healthy)
    worst = max((abs(stated_value / true - 1.0) for true, stated_value in stated), default=0.0)
    return [
        "| crank speed | starts | share |",
        "|---|---|---|",
        f"| within 2 % where stated | {good} of {len(stated)} | {share(good, len(stated))} |",
        f"| wrong by about a factor of two | {double} of {len(stated)} | {share(double, len(stated))} |",
        f"| worst error | {100 * worst:.1f} % | |",
        f"| refused, healthy cranks of 1.5 s or more | {refused} of {len(healthy)} | {share(refused, len(healthy))} |",
    ]


def wrong_lines(trials: Sequence[Trial], most: int = 30) -> list[str]:
    """The starts whose verdict is wrong, by name and seed, to be looked at."""
    wrong = [t for t in trials if t.expected_verdict in ("PASS", "FAIL") and t.verdict != t.expected_verdict]
    wrong += [t for t in trials if t.expected_verdict == "NO VERDICT" and t.verdict == "PASS"]
    order = {"PASS": 0, "FAIL": 1, "NO VERDICT": 2}
    wrong.sort(key=lambda t: (order[t.verdict], t.name, t.seed))
    return [
        f"{t.name} seed {t.seed}: expected {t.expected_verdict}, got {t.verdict}: {'; '.join(t.reasons)}" for t in wrong[:most]
    ]
