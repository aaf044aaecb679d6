"""The report: its order, its words, in a real browser at desktop and phone width, and as a PDF turned into pictures."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import zlib
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import get_args

import pytest

from firstcrank.analysis.as_json import from_table, to_table
from firstcrank.analysis.verdict import judge
from firstcrank.errors import MissingExtraError
from firstcrank.limits import shipped
from firstcrank.report import drawing, html, pdf, plots
from firstcrank.report import svg as drawing_svg
from firstcrank.report.document import Part, texts
from firstcrank.report.gather import from_file
from firstcrank.report.inputs import ReportInputs
from firstcrank.report.sections import document
from firstcrank.tracefiles.table import load
from firstcrank.units import local_time
from firstcrank.visit.account import SEEN_FIRST, VISIT_LINES, account
from firstcrank.visit.steps import RAN_AWAY
from firstcrank.visit.values import Burst, Visit

from .sim_recording import recorded

ORDER = (
    "First-start record",
    "Key feed",
    "Why",
    "What was done",
    "What to check next",
    "The whole start",
    "The loss of the feed, closer",
    "Cautions",
    "Annex: how it was measured and judged",
    "What was tested and what was not",
    "Findings",
    "Likely cause",
    "Board and calibration",
    "Limits and where they come from",
    "Recording SHA-256",
)
QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def inputs(tmp_path: Path, name: str = "marigold_trap") -> ReportInputs:
    path = tmp_path / f"{name}.fcr"
    path.write_bytes(recorded(name))
    recording = load(path)
    made = from_file(path, judge(recording.trace, recording.limits or shipped(12), recording.context), recording)
    job = {"number": "1207", "vehicle": "Marigold, farm pickup", "technician": "R. Hale", "vin": "1M8GDM9AXKP042788"}
    return replace(made, job=job, shop_name="The Barn", start_name="1")


def test_the_page_is_in_order_and_fetches_nothing(tmp_path: Path) -> None:
    page = html.render(replace(inputs(tmp_path), notes=({"text": "Feed moved", "who": "", "for_customer": True},)))
    places = [page.index(f">{text}" if text != "Recording SHA-256" else text) for text in ORDER]
    assert places == sorted(places)
    assert "FAIL" in page
    fetched = re.findall(r"""(?:src|href)\s*=\s*["'](?!data:|#)([^"']+)""", page)
    assert [f for f in fetched if "xlink" not in f and not f.startswith("#")] == []
    assert "url(http" not in page
    assert "@import" not in page
    assert "default-src &#39;none&#39;" in page
    assert "SIMULATED, no vehicle" in page


@pytest.mark.parametrize(
    ("name", "verdict"), [("marigold_repaired", "PASS"), ("short_crank", "NO VERDICT"), ("heater_only", "NO VERDICT")]
)
def test_every_verdict_makes_a_page_and_a_paper(tmp_path: Path, name: str, verdict: str) -> None:
    made = inputs(tmp_path, name)
    assert f"<strong>{verdict}</strong>" in html.render(made)
    assert pdf.render(made, "Letter").startswith(b"%PDF")


def full(tmp_path: Path) -> ReportInputs:
    """Inputs with every section filled: more losses than are drawn, a logo, values by hand with a meter, notes with an author."""
    from matplotlib.figure import Figure as Plot

    made = inputs(tmp_path)
    logo = plots.as_png(Plot(figsize=(0.5, 0.25)))
    drop = made.judgement.dropouts[0]
    lost = tuple(replace(drop, start_s=drop.start_s + 0.01 * n) for n in range(6))
    long_text = "word " * 250
    return replace(
        made,
        judgement=replace(made.judgement, dropouts=lost, tolerated=("one short loss",)),
        measurements=({"what": "strap", "value": 0.12, "unit": "V", "meter": "meter 3"},),
        notes=({"text": long_text, "who": "Hale", "for_customer": True},),
        shop_logo=logo,
        photos=((logo, "the plug after the repair"),),
    )


def test_what_the_visit_wrote_down_is_in_the_report_and_a_runaway_leads(tmp_path: Path) -> None:
    made = inputs(tmp_path, "marigold_repaired")
    lines = (
        "Burst 1: 2.0 s, the engine ran by itself, feed held",
        "Skipped: hot restart",
        f"Out of order: {RAN_AWAY}",
        "a note of another kind",
    )
    seen = replace(made, recording=replace(made.recording, trace=replace(made.recording.trace, notes=lines)))
    shown = [text for part in document(seen) for text in texts(part)]
    assert "The visit" in shown
    assert all(line in shown for line in lines[:3])
    warning = "The engine ran away: air shut. Do not crank again before its cause is found."
    assert shown.index(warning) < shown.index("What to check next")
    assert shown.count(warning) == 2  # under the verdict, and first of what to check next
    assert warning in html.render(seen)
    assert not any("Seen at the vehicle" in text or "The visit" in text for part in document(made) for text in texts(part))


def test_every_line_of_a_visits_account_is_known_to_the_report() -> None:
    visit = Visit(
        bursts=(Burst(1.0, 2.0, True, False),), answered=("a",), skipped=("b",), noted=("no oil pressure within 15 s",)
    )
    assert len(account(visit)) == 4
    assert all(line.startswith(VISIT_LINES) for line in account(visit))
    assert RAN_AWAY.startswith(tuple(SEEN_FIRST))


def without_spaces(text: str) -> str:
    return "".join(text.split())


def test_page_and_paper_show_every_text_of_the_document(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both are drawn from one document; what either left out would be missing here."""
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here (Debian package poppler-utils)")
    monkeypatch.setattr(ReportInputs, "made", "2026-01-02 03:04 +0000")
    made = full(tmp_path)
    path = tmp_path / "report.pdf"
    path.write_bytes(pdf.render(made))
    read = subprocess.run(["pdftotext", "-raw", str(path), "-"], capture_output=True, text=True, check=True).stdout
    paper = without_spaces(read)
    page = without_spaces(unescape(re.sub(r"<[^>]*>", " ", html.render(made).split("</style>")[1])))
    parts = document(made)
    assert {type(part) for part in parts} == set(get_args(Part)), "every kind of part is in this report"
    for part in parts:
        for text in texts(part):
            assert without_spaces(text) in page, text
            assert without_spaces(text) in paper, text
    images = subprocess.run(["pdfimages", "-list", str(path)], capture_output=True, text=True, check=True).stdout
    assert images.count("image") >= 2, "logo and photo; the plots are lines"


def test_the_page_is_drawn_without_matplotlib(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = inputs(tmp_path)
    for name in ("matplotlib", "typst"):
        monkeypatch.setitem(sys.modules, name, None)
    page = html.render(made)
    assert page.count("<svg") >= 2
    with pytest.raises(MissingExtraError, match=r"firstcrank\[report\]"):
        pdf.render(made)


def test_ticks_are_round_and_inside() -> None:
    assert drawing_svg.ticks(-0.6, 14.3, 6) == pytest.approx([0, 5, 10])
    assert drawing_svg.ticks(2.0, 2.0, 6) == []
    assert [drawing_svg.number(v) for v in drawing_svg.ticks(0.0, 0.31, 8)][:3] == ["0", "0.05", "0.1"]


def test_a_judgement_comes_back_from_its_table(tmp_path: Path) -> None:
    judgement = inputs(tmp_path).judgement
    once = from_table(json.loads(json.dumps(to_table(judgement))))
    assert once == from_table(json.loads(json.dumps(to_table(once))))
    assert once.dropouts == judgement.dropouts


def test_lines_differ_in_grey_by_dash_and_lightness() -> None:
    """Every lead has its own dash pattern, so that grey print and colour-blind readers can tell them apart."""
    dashes = [str(style.dashes) for style in drawing.STYLES.values()]
    assert len(set(dashes)) == len(dashes)


def test_no_dip_is_lost_by_thinning(tmp_path: Path) -> None:
    trace = inputs(tmp_path).recording.trace
    _, volts = drawing.thinned(trace, "battery", 0.0, float(trace.end_s[-1]))
    assert volts.min() == pytest.approx(float(trace.channels["battery"].lowest_v.min()), abs=0.05)
    assert len(volts) < 2.2 * drawing.PIXELS


@pytest.fixture
def chromium() -> str:
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        pytest.skip("no Chromium here (Debian package chromium)")
    return found


MEASURE = """
<script>
const frame = document.getElementById('f');
frame.onload = () => {
  const d = frame.contentDocument, w = frame.contentWindow;
  const shown = (e) => e.getBoundingClientRect().width > 0;
  const wide = [...d.querySelectorAll('body *')].filter(e => !e.closest('.scroll') && !e.closest('svg')
    && e.getBoundingClientRect().right > w.innerWidth + 1).map(e => e.tagName);
  const empty = [...d.querySelectorAll('h2')].filter(h => !h.nextElementSibling || !h.nextElementSibling.textContent.trim());
  const drawn = [...d.querySelectorAll('.figure svg')].filter(shown);
  document.title = 'MEASURED ' + JSON.stringify({overflow: d.documentElement.scrollWidth - w.innerWidth, wide: wide,
    empty: empty.length, svg: drawn.map(s => Math.round(s.getBoundingClientRect().width)),
    letters: Math.min(...drawn.flatMap(s => [...s.querySelectorAll('text')]).map(t => t.getBoundingClientRect().height)),
    landmarks: d.querySelectorAll('main').length, headings: d.querySelectorAll('h1').length});
};
</script>
"""


@pytest.mark.slow
@pytest.mark.parametrize("width", [1280, 390])
def test_in_a_browser_nothing_overflows_and_nothing_is_missing(tmp_path: Path, chromium: str, width: int) -> None:
    page = tmp_path / "page.html"
    # Headless Chromium does not go below 500 pixels, so a frame of the phone's width stands for the phone. The page itself runs no
    # script but its own: it is measured from outside.
    (tmp_path / "inner.html").write_text(html.render(inputs(tmp_path)), "utf-8")
    page.write_text(f"<iframe id=f src=inner.html style='width:{width}px;height:900px;border:0'></iframe>{MEASURE}", "utf-8")
    done = subprocess.run(
        [
            chromium,
            *QUIET,
            f"--user-data-dir={tmp_path / 'profile'}",
            "--allow-file-access-from-files",
            "--window-size=1400,1000",
            "--virtual-time-budget=4000",
            "--dump-dom",
            page.as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=90,
    )
    found = re.search(r"<title>MEASURED (\{.*?\})</title>", done.stdout)
    assert found, done.stdout[-500:] + done.stderr[-500:]
    import json

    measured = json.loads(found[1].replace("&quot;", '"'))
    assert measured["overflow"] <= 0, measured
    assert measured["wide"] == []
    assert measured["empty"] == 0
    assert len(measured["svg"]) >= 2
    assert all(0.8 * min(width, 800) < drawn <= width for drawn in measured["svg"])
    assert measured["letters"] >= 11, "pixels: as large as small print of the page itself"
    assert (measured["landmarks"], measured["headings"]) == (1, 1)


@pytest.mark.parametrize(("utc", "shown"), [("2026-01-02T03:04:05+00:00", "2026-01-02"), ("", ""), ("yesterday", "yesterday")])
def test_times_are_utc_kept_and_local_shown(utc: str, shown: str, monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    monkeypatch.setenv("TZ", "Asia/Tokyo")
    time.tzset()
    try:
        written = local_time(utc)
    finally:
        monkeypatch.undo()
        time.tzset()
    assert written.startswith(shown)
    if utc.startswith("2026"):
        assert written == "2026-01-02 12:04 +0900"


def test_png_is_a_png(tmp_path: Path) -> None:
    made = inputs(tmp_path)
    data = plots.as_png(plots.figure_of(drawing.overview(made.recording.trace, made.judgement)))
    assert data.startswith(b"\x89PNG")
    assert zlib.crc32(data) != 0
