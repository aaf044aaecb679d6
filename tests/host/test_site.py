"""The documentation as a site: every link leads somewhere, nothing is loaded from elsewhere, pages made from the code are up to date."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

from firstcrank.limits import SPECS

ROOT = Path(__file__).resolve().parents[2]
LOADS = {"script": "src", "img": "src", "link": "href", "iframe": "src", "source": "src", "video": "src", "object": "data"}


class Loaded(HTMLParser):
    """Addresses that a browser fetches by itself when it shows the page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Called by the parser."""
        address = dict(attrs).get(LOADS.get(tag, ""))
        if address:
            self.found.append(address)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site, built as `make docs` does: warnings are errors."""
    pytest.importorskip("sphinx", reason="Sphinx is in the extra dev")
    out = tmp_path_factory.mktemp("site")
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "host"), os.environ.get("PYTHONPATH", "")])}
    subprocess.run([sys.executable, "docs/site/reference.py"], cwd=ROOT, env=environment, check=True)
    command = [
        sys.executable,
        "-m",
        "sphinx",
        "-q",
        "-W",
        "--keep-going",
        "-b",
        "html",
        "-c",
        "docs/site",
        "-d",
        str(out / "t"),
        ".",
        str(out),
    ]
    built = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert built.returncode == 0, built.stderr
    return out


@pytest.mark.slow
def test_every_page_is_there_loads_nothing_from_elsewhere_and_the_reference_comes_from_the_code(site: Path) -> None:
    pages = sorted(site.rglob("*.html"))
    names = {str(page.relative_to(site)) for page in pages}
    expected = {
        str(page.relative_to(ROOT).with_suffix(".html"))
        for page in [*ROOT.glob("docs/*.md"), *ROOT.glob("hardware_notes/*.md")]
    }
    assert expected <= names
    for page in pages:
        loaded = Loaded()
        loaded.feed(page.read_text("utf-8"))
        assert loaded.found
        assert not [address for address in loaded.found if "://" in address or address.startswith("//")], page
    for style in site.rglob("*.css"):
        assert "://" not in style.read_text("utf-8").split("url(", 1)[-1][:200], style
    limits = (site / "docs/_generated/limits.html").read_text("utf-8")
    assert all(key in limits for key in SPECS)
    commands = (site / "docs/_generated/commands.html").read_text("utf-8")
    for name in ("firstcrank record", "firstcrank board calibrations", "firstcrank limits show"):
        assert f"<h2>{name}<" in commands
    api = (site / "docs/_generated/api.html").read_text("utf-8")
    assert "Never raises" in api
    assert re.search(r"<dt><code[^>]*>(<span[^>]*>)?r_top_ohm(</span>)?</code></dt><dd><p>R1, from the clip", api)
