"""Plots that can be looked into, offline: the page's own policy, the numbers beside a plot, and a browser that zooms."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import subprocess
import zlib
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firstcrank.report import html
from firstcrank.report.detail import MISSING_MV, MOST_POINTS, detail
from firstcrank.report.document import Paragraph
from firstcrank.trace import Trace

from .test_report import QUIET, inputs
from .test_report import chromium as chromium


def unpacked(text: str, kind: str) -> np.ndarray:
    return np.frombuffer(zlib.decompress(base64.b64decode(text)), dtype=kind)


def test_the_policy_names_the_hash_of_each_script_and_style_and_allows_no_request(tmp_path: Path) -> None:
    page = html.render(inputs(tmp_path))
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    policy = policy.replace("&#39;", "'")
    for kind, pattern in (("script-src", r"<script>(.*?)</script>"), ("style-src", r"<style>(.*?)</style>")):
        (inside,) = re.findall(pattern, page, re.S)
        digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
        assert f"{kind} 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy


def test_a_page_without_plots_has_no_script() -> None:
    page = html.page([Paragraph("</script><script>alert(1)</script>")], "none")
    assert "<script" not in page
    assert "script-src &#39;none&#39;" in page


def test_uplot_is_as_it_came_with_its_licence() -> None:
    """npm registry, uplot 1.6.32, dist/uPlot.iife.min.js: SHA-256 of the file in the package."""
    folder = files("firstcrank.report") / "vendored"
    script = (folder / f"{html.UPLOT}.iife.min.js").read_bytes()
    assert hashlib.sha256(script).hexdigest() == "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f"
    assert "MIT License" in (folder / "uPlot-LICENSE.txt").read_text("utf-8")


def test_every_bin_is_there_where_something_happens_and_no_dip_is_lost(tmp_path: Path) -> None:
    made = inputs(tmp_path)
    trace = made.recording.trace
    found: dict[str, Any] = detail(trace, made.judgement)
    times = unpacked(found["tables"]["bins"]["t"], "<u4") / 1e6 + found["start"]
    feed = unpacked(found["tables"]["key_switch"], "<i2")
    assert len(times) == len(feed) <= MOST_POINTS * 1.1
    assert np.all(np.diff(times) >= 0)
    channel = trace.channels["key_switch"]
    assert feed.min() / 1e3 == pytest.approx(float(channel.lowest_v.min()), abs=1e-3)
    assert feed.max() / 1e3 == pytest.approx(float(channel.highest_v.max()), abs=1e-3)
    edge_s = made.judgement.dropouts[0].start_s
    near = (trace.mid_s > edge_s - 0.1) & (trace.mid_s < edge_s + 0.1)
    assert int(((times > edge_s - 0.1) & (times < edge_s + 0.1)).sum()) == 2 * int(near.sum())
    assert [name for name, _, _ in found["jumps"]] == ["START", "loss", "edge"]


def test_a_long_recording_stays_small_and_a_missing_reading_is_a_gap(tmp_path: Path) -> None:
    made = inputs(tmp_path)
    long = stretched(made.recording.trace, 40)
    channel = long.channels["battery"]
    channel.lowest_v[1000:1100] = np.nan
    channel.highest_v[1000:1100] = np.nan
    found: dict[str, Any] = detail(long, made.judgement)
    assert len(unpacked(found["tables"]["battery"], "<i2")) <= 1.2 * MOST_POINTS
    assert (unpacked(found["tables"]["battery"], "<i2") == MISSING_MV).any()
    assert len(json.dumps(found)) < 400_000


def stretched(trace: Trace, times: int) -> Trace:
    """The same readings over and over, one recording."""
    span_s = float(trace.end_s[-1] - trace.start_s[0])
    shift = np.repeat(np.arange(times) * span_s, len(trace))

    def again(values: np.ndarray) -> np.ndarray:
        return np.tile(values, times)

    channels = {
        role: replace(c, mean_v=again(c.mean_v), lowest_v=again(c.lowest_v), highest_v=again(c.highest_v))
        for role, c in trace.channels.items()
    }
    return replace(
        trace,
        start_s=again(trace.start_s) + shift,
        end_s=again(trace.end_s) + shift,
        conversions=again(trace.conversions),
        gap_s=again(trace.gap_s),
        channels=channels,
        runs=None,
        close_ups=(),
    )


ACT = """
<iframe id=f src=inner.html style='width:390px;height:900px;border:0'></iframe>
<script>
const frame = document.getElementById('f');
const wait = (ms) => new Promise((r) => setTimeout(r, ms));
frame.onload = async () => {
  const d = frame.contentDocument, box = d.querySelector('.figure');
  box.querySelector('button').click();
  await wait(1500);
  const scale = () => { const x = box.uplot.scales.x; return x.max - x.min; };
  const whole = scale();
  const press = async (name) => { [...box.querySelectorAll('button')].find(b => b.textContent === name).click(); await wait(50); };
  await press('edge');
  const edge = scale();
  await press('+');
  const closer = scale();
  await press('whole');
  document.title = 'ZOOMED ' + JSON.stringify({whole, edge, closer, again: scale(), svg: box.querySelectorAll('svg').length,
    canvas: box.querySelectorAll('canvas').length, overflow: d.documentElement.scrollWidth - frame.contentWindow.innerWidth});
};
</script>
"""


@pytest.mark.slow
def test_a_browser_zooms_to_an_edge_and_back_under_the_pages_own_policy(tmp_path: Path, chromium: str) -> None:
    (tmp_path / "inner.html").write_text(html.render(inputs(tmp_path)), "utf-8")
    page = tmp_path / "page.html"
    page.write_text(ACT, "utf-8")
    done = subprocess.run(
        [
            chromium,
            *QUIET,
            f"--user-data-dir={tmp_path / 'profile'}",
            "--allow-file-access-from-files",
            "--window-size=1400,1000",
            "--virtual-time-budget=8000",
            "--dump-dom",
            page.as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=90,
    )
    found = re.search(r"<title>ZOOMED (\{.*?\})</title>", done.stdout)
    assert found, done.stdout[-500:] + done.stderr[-500:]
    seen = json.loads(found[1].replace("&quot;", '"'))
    assert seen["whole"] > 9
    assert seen["edge"] == pytest.approx(0.006, rel=0.01)
    assert seen["closer"] == pytest.approx(0.4 * seen["edge"], rel=0.01)
    assert seen["again"] == pytest.approx(seen["whole"], rel=0.01)
    assert seen["svg"] == 2, "the still pictures stay"
    assert seen["canvas"] == 1
    assert seen["overflow"] <= 0
