"""Before and after: aligned where the starter engages, and what changed is said."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from firstcrank.analysis.compare import compare
from firstcrank.analysis.verdict import judge
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.model.judgement import Judgement
from firstcrank.model.vocabulary import CheckId, Phase
from firstcrank.report import html, pdf
from firstcrank.report.before_after import Side, crank_lines, document
from firstcrank.report.changes import SAME, changes, crank_result
from firstcrank.report.document import Rows, texts
from firstcrank.report.plots import as_png, comparison
from firstcrank.trace import Trace
from tests.acceptance.start import CRANK_S, STEP_S, Start

from .sim_recording import recorded
from .test_text_is_text import run

ASKED = Context(cranked_with_key=True, module_plugged_in=True)


def judged(start: Start) -> tuple[Trace, Judgement]:
    trace = start.trace()
    return trace, judge(trace, shipped(12), ASKED)


def test_aligned_at_the_starter_and_the_repair_is_said() -> None:
    before = judged(Start().feed_to(0.0, 6.0, 1.5))
    later = Start()
    later.volts = {role: np.roll(v, 9000) for role, v in later.volts.items()}  # the same start, 0.2 s later
    for volts in later.volts.values():
        volts[:9000] = volts[9000]
    compared = compare(before, judged(later))
    engaged = np.argmin(np.abs(compared.at_s))
    for side in (compared.before_v, compared.after_v):
        fall = side["battery"][engaged - 40] - side["battery"][engaged + 10]
        assert fall > 1.0
    difference = compared.difference_v("key_switch")
    inside = (compared.at_s > 6.1 - CRANK_S) & (compared.at_s < 7.4 - CRANK_S)
    assert float(np.nanmedian(difference[inside])) > 8.0
    assert abs(float(np.nanmedian(difference[~inside]))) < 0.3
    change = {(c.check, c.phase): c.difference_text for c in changes(before[1], judged(later)[1])}
    assert change[CheckId("key_feed_dropout"), Phase.CRANK] == "fail before, pass now: better"
    assert change[CheckId("key_feed_dropout"), Phase.KEY_ON] == SAME
    assert as_png(comparison(compared, ("before", "after"))).startswith(b"\x89PNG")


def test_the_same_start_twice_differs_in_nothing() -> None:
    one = judged(Start())
    compared = compare(one, one)
    assert {c.difference_text for c in changes(one[1], one[1])} == {SAME}
    assert float(np.nanmax(np.abs(compared.difference_v("battery")))) == 0.0


def test_a_start_without_that_crank_is_told() -> None:
    one = judged(Start())
    with pytest.raises(ValueError, match="crank 2"):
        compare(one, one, (1, 2))


SECOND_S = 7.5  # the second crank begins this much after the first


def two_cranks(lost: bool) -> Start:
    """A good crank, then the same again with the key left ON in between; the feed dead in the second where `lost`."""
    one = Start(end_s=CRANK_S + 2 * SECOND_S)
    again = one.t >= CRANK_S + SECOND_S - 0.5
    for role, volts in one.volts.items():
        moved = np.roll(volts, round(SECOND_S / STEP_S))
        one.volts[role] = np.where(again, moved, volts)
    if lost:
        one.feed_to(0.0, CRANK_S + SECOND_S + 1.0, 1.2)
    return one


def test_each_crank_is_compared_by_its_own_findings() -> None:
    """A repair, or a fault, between two cranks of one recording is seen."""
    start = judged(two_cranks(lost=True))
    assert len(start[1].cranks) == 2
    assert (crank_result(start[1], 1), crank_result(start[1], 2)) == ("pass", "fail")
    found = {(c.check, c.phase): c for c in changes(start[1], start[1], (1, 2))}
    change = found[CheckId("key_feed_dropout"), Phase.CRANK]
    assert change.difference_text == "pass before, fail now"
    assert change.before is not None
    assert change.after is not None
    assert (change.before.crank, change.after.crank) == (1, 2)
    assert {c.difference_text for c in changes(start[1], start[1], (2, 2))} == {SAME}


def six_cranks() -> Start:
    """Six cranks with the key left ON between; the feed dead in the second, lost for 50 ms in the fifth."""
    one = Start(end_s=CRANK_S + 6 * SECOND_S)
    first = {role: volts.copy() for role, volts in one.volts.items()}
    for n in range(1, 6):
        again = one.t >= CRANK_S + n * SECOND_S - 0.5
        for role in one.volts:
            one.volts[role] = np.where(again, np.roll(first[role], round(n * SECOND_S / STEP_S)), one.volts[role])
    return one.feed_to(0.0, CRANK_S + SECOND_S + 1.0, 1.2).feed_to(0.0, CRANK_S + 4 * SECOND_S + 1.0, 0.05)


def test_of_six_cranks_each_is_named_on_page_and_paper() -> None:
    trace, judgement = judged(six_cranks())
    results = [line.rsplit(" ", 1)[1] for line in crank_lines(judgement)]
    assert results == ["ok", "FAIL", "ok", "ok", "FAIL", "ok"]
    assert len(judgement.reasons) == 2
    assert ("13.580" in judgement.reasons[0], "36.080" in judgement.reasons[1]) == (True, True)
    sides = [Side(f"5#{crank}", trace, judgement, crank) for crank in (2, 3, 5)]
    assert [side.result for side in sides] == ["FAIL", "good", "FAIL"]
    parts = document(sides[0], sides[1])
    rows = next(part.rows for part in parts if isinstance(part, Rows))
    assert rows[:2] == (("Result", "FAIL", "good"), ("Longest loss of the key feed", "1.20 s", "none"))
    shown = [text for part in parts for text in texts(part)]
    assert sum(text.startswith(("Before, crank ", "After, crank ")) for text in shown) == 12
    made = html.page(parts, "cranks")
    assert all(f"crank {n}, " in made for n in range(1, 7))
    assert made.count("<svg") == 6, "three leads, each for a screen and for a phone"
    assert pdf.paper(parts, "cranks").startswith(b"%PDF")


def test_on_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "start.fcr"
    path.write_bytes(recorded("marigold_trap"))
    good = tmp_path / "good.fcr"
    good.write_bytes(recorded("marigold_repaired"))
    page, paper = tmp_path / "x.html", tmp_path / "x.pdf"
    assert run("compare", str(path), str(good), "--html", str(page), "--pdf", str(paper)) == 0
    assert "FAIL in" in capsys.readouterr().out
    assert "Before and after" in page.read_text("utf-8")
    assert paper.read_bytes().startswith(b"%PDF")
    assert run("compare", f"{path}#2", str(good)) == 2
    assert "crank 2" in capsys.readouterr().err
