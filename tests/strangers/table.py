"""The figures of a run as text: families, false PASS, shares of the sound starts, causes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable

from tests.strangers.families import NAMES
from tests.strangers.grader.grade import FAULT, LACKING, NEAR_FAULT, SOUND
from tests.strangers.outcome import CRASHED, Outcome

VERDICTS = ("PASS", "FAIL", "NO VERDICT", "REFUSED", CRASHED)
KINDS = (FAULT, LACKING, NEAR_FAULT, "unsure", "near", SOUND)
# A loss that recorder and grader alike can't tell from a key-off is told apart in the table by its family.
LISTED = 40


def passed(o: Outcome) -> bool:
    """A PASS overall."""
    return o.verdict == "PASS"


def table(found: list[Outcome]) -> tuple[str, int]:
    """Text, and how many PASSes there are of starts that lie over 4 u beyond a limit."""
    lines = [f"{len(found)} starts"]
    lines += _families(found)
    wrong = [o for o in found if o.kind == FAULT and passed(o)]
    lacking = [o for o in found if o.kind == LACKING and passed(o)]
    near = [o for o in found if o.kind == NEAR_FAULT]
    lines.append("")
    lines.append(f"PASS, truth over 4 u beyond a limit: {len(wrong)} of {sum(o.kind == FAULT for o in found)}")
    lines += [_line(o) for o in wrong[:LISTED]]
    lines.append(f"PASS, evidence plainly lacking:      {len(lacking)} of {sum(o.kind == LACKING for o in found)}")
    lines += [_line(o) for o in lacking[:LISTED]]
    lines.append(f"PASS, truth beyond a limit by 0 to 4 u: {_share(near, passed)}")
    lines += [_line(o) for o in near if passed(o)][:LISTED]
    lines += ["", "sound starts, evidence complete, every limit cleared by 4 u: PASS / FAIL / NO VERDICT"]
    sound = [o for o in found if o.kind == SOUND]
    for name, rows in (
        ("all", sound),
        ("intake heater", [o for o in sound if o.heater]),
        ("no starter lead", [o for o in sound if o.no_lead]),
        ("quick, reported as running, lead", [o for o in sound if o.quick and o.reported and not o.no_lead]),
        ("quick, reported as running, no lead", [o for o in sound if o.quick and o.reported and o.no_lead]),
        ("CSV", [o for o in sound if o.delivery == "csv"]),
        ("frames", [o for o in sound if o.delivery == "frames"]),
    ):
        lines.append(f"  {name:34s} {_three(rows)}")
    refused = [o for o in sound if o.verdict not in ("PASS", "FAIL")]
    lines += ["  sound and no verdict:"] * bool(refused) + [_line(o) for o in refused[:LISTED]]
    failed = [o for o in sound if o.verdict == "FAIL"]
    lines += ["  sound and FAIL:"] * bool(failed) + [_line(o) for o in failed[:LISTED]]
    helped = [o for o in found if o.family == "aborted_helped"]
    lines += ["", f"aborted crank, charger or jump pack, nobody asked: {sum(map(passed, helped))} PASS of {len(helped)}"]
    lines += _causes(found)
    crashed = [o for o in found if o.verdict == CRASHED]
    lines += [f"crashes: {len(crashed)}"] + [_line(o) for o in crashed[:LISTED]]
    return "\n".join(lines), len(wrong)


def _families(found: list[Outcome]) -> list[str]:
    lines = [
        f"{'family':22s}{'starts':>7s} |" + "".join(f"{k:>11s}" for k in KINDS) + " |" + "".join(f"{v:>11s}" for v in VERDICTS)
    ]
    for name in NAMES:
        rows = [o for o in found if o.family == name]
        if not rows:
            continue
        kinds, verdicts = Counter(o.kind for o in rows), Counter(o.verdict for o in rows)
        cells = "".join(f"{kinds[k]:11d}" for k in KINDS) + " |" + "".join(f"{verdicts[v]:11d}" for v in VERDICTS)
        lines.append(f"{name:22s}{len(rows):7d} |{cells}")
    return lines


def _line(o: Outcome) -> str:
    why = f"{o.obligation} {o.by_u:+.1f} u {o.what}" if o.kind != LACKING else "; ".join(o.lacking)
    return f"    --family {o.family} --show {o.seed}: {o.verdict} ({o.delivery}) truth: {why} | judge: {o.reason[:80]}"


def _share(rows: list[Outcome], good: Callable[[Outcome], bool]) -> str:
    count = sum(map(good, rows))
    return f"{count} of {len(rows)} ({100.0 * count / max(len(rows), 1):.1f} %)"


def _three(rows: list[Outcome]) -> str:
    n = max(len(rows), 1)
    each: Iterable[int] = (sum(o.verdict == "PASS" for o in rows), sum(o.verdict == "FAIL" for o in rows))
    p, f = each
    return f"{100 * p / n:6.2f} % / {100 * f / n:5.2f} % / {100 * (len(rows) - p - f) / n:5.2f} %  of {len(rows)}"


def _causes(found: list[Outcome]) -> list[str]:
    """Faults beyond 4 u that were found (FAIL), with a true cause that has a name."""
    rows = [o for o in found if o.kind == FAULT and o.verdict == "FAIL" and o.truth and not o.lacking]
    first = [o for o in rows if o.causes and o.causes[0] in o.truth]
    second = [o for o in rows if set(o.causes[:2]) & o.truth]
    n = max(len(rows), 1)
    lines = [
        "",
        f"cause right first {100 * len(first) / n:.1f} %, in the first two {100 * len(second) / n:.1f} % of {len(rows)}",
    ]
    missed: dict[tuple[str, str], list[int]] = {}
    for o in rows:
        if not set(o.causes[:2]) & o.truth:
            missed.setdefault((o.family, " ".join(o.causes[:2]) or "none"), []).append(o.seed)
    most = sorted(missed.items(), key=lambda item: -len(item[1]))[:25]
    lines += [f"    {len(seeds):4d} x {family}: said {got}; seeds {seeds[:6]}" for (family, got), seeds in most]
    return lines
