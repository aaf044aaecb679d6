"""Draws the pictures of the screens from the tool itself: python docs/draw_screens.py writes docs/screens/*.svg."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

from rich.console import Console

from firstcrank.analysis.causes.advice import ADVICE
from firstcrank.cli.draw import draw
from firstcrank.cli.result_screen import result_lines
from firstcrank.model.judgement import FeedVerdict, Finding, Judgement
from firstcrank.model.vocabulary import CheckId, Result, Verdict
from firstcrank.visit.ending import ending_of
from firstcrank.visit.showing import show
from firstcrank.visit.values import Burst, Stage, Visit

FOLDER = Path(__file__).parent / "screens"
WIDTH, HEIGHT = 80, 24
READINGS = ("battery    12.4 V", "key feed   12.2 V")
MARK = "SIMULATED"
AT = Visit(guided=True, now_s=12.0, since_s=9.0, battery_v=12.4, feed_v=12.2, key_proved=True)
BURST = Burst(8.0, 3.0, True, False)
VISITS = {
    "key_off": replace(AT, stage=Stage.SEE_OFF, feed_v=0.0, key_proved=False),
    "key_on": replace(AT, stage=Stage.SEE_ON, feed_v=0.0, key_proved=False),
    "wait": replace(AT, stage=Stage.WAIT_LAMP),
    "crank": replace(AT, stage=Stage.CRANKING, crank_from_s=10.0),
    "feed_dead": replace(AT, stage=Stage.CRANKING, crank_from_s=11.0, feed_dead=True, feed_v=0.0),
    "rest": replace(AT, stage=Stage.REST, bursts=(BURST,), rest_until_s=38.0),
    "oil": replace(AT, stage=Stage.OIL, bursts=(replace(BURST, ran=True),), ran=True),
    "shut_air": replace(AT, stage=Stage.OIL, air=True),
}


def judgement(verdict: str, cause: str = "", fault: CheckId | None = None) -> Judgement:
    """A judgement with the words of a real one."""
    reason = (
        "the key feed was lost for 2.43 s in START" if verdict == "FAIL" else "the key feed held through START and the release"
    )
    advice = ADVICE.get(cause)
    faults = (Finding(fault, Result.FAIL, "minus on the heater solenoid's plus stud"),) if fault else ()
    feed = FeedVerdict(Verdict.PASS if fault else Verdict(verdict), (reason,))
    return Judgement(
        Verdict(verdict), (reason,), (), (), (), (), (), (),
        next_check=advice.check if advice else "",
        feed=feed, other_faults=faults, cautions=advice.cautions if advice else (),
    )  # fmt: skip


RESULTS = {
    "result_pass": judgement("PASS"),
    "result_fail": judgement("FAIL", "feed_dead_in_start"),
    "result_other_fault": judgement("FAIL", "heater_reversed", CheckId.HEATER_POLARITY),
}
ENDINGS = {
    "result_runaway": ending_of(replace(AT, fault="runaway", bursts=(BURST,))),
    "result_no_start": ending_of(replace(AT, bursts=(BURST, BURST, BURST))),
}


def pictures() -> dict[str, str]:
    """Name -> SVG text, the same at every run."""
    lines = {name: draw(show(visit), READINGS, WIDTH, HEIGHT - 1, mark=MARK) for name, visit in VISITS.items()}
    footer = "Kept as start-20260101-101500.fcr"
    lines |= {name: result_lines(one, footer, WIDTH, HEIGHT - 1, simulated=True) for name, one in RESULTS.items()}
    passed = judgement("PASS")
    lines |= {
        name: result_lines(passed, footer, WIDTH, HEIGHT - 2, simulated=True, ending=one) for name, one in ENDINGS.items()
    }
    found = {}
    for name, rows in lines.items():
        console = Console(file=io.StringIO(), width=WIDTH, height=HEIGHT, record=True, force_terminal=True, highlight=False)
        for row in rows:
            console.print(row)
        found[name] = console.export_svg(title="firstcrank", unique_id=name)
    return found


def main() -> None:
    """Writes them."""
    FOLDER.mkdir(exist_ok=True)
    for name, svg in pictures().items():
        (FOLDER / f"{name}.svg").write_text(svg, "utf-8")


if __name__ == "__main__":
    main()
