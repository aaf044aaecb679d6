"""Links by scheme: the simulated vehicle, its earlier name, and one that a package installed beside brings by entry point."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from firstcrank.errors import MissingExtraError, UsageError
from firstcrank.link.open import open_link
from firstcrank.link.schemes import SCHEME, find_opener

LINK = """
class Loop:
    synthetic = True

    def __init__(self, text):
        self.name = f"loopback:{text}"

    def read(self, timeout_s):
        return b""

    def write(self, data):
        pass

    def now_s(self):
        return 0.0

    def close(self):
        pass


def open_loop(text):
    return Loop(text)
"""


def install(folder: Path, package: str, points: str) -> None:
    """A distribution as pip leaves one: the module, and its metadata beside."""
    (folder / f"{package}.py").write_text(LINK)
    info = folder / f"{package}-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {package}\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(points)


@pytest.mark.parametrize("port", ["sim:healthy,seed=3", "bench:healthy,seed=3"])
def test_the_simulated_vehicle_answers_to_its_name_of_today_and_of_before(port: str) -> None:
    link = open_link(port)
    assert link.name == "sim:healthy"
    assert link.synthetic


def test_a_link_of_another_package_is_found_by_its_entry_point(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    install(tmp_path, "loop_package", "[firstcrank.links]\nloopback = loop_package:open_loop\n")
    monkeypatch.syspath_prepend(tmp_path)
    assert open_link("loopback:any text: here").name == "loopback:any text: here"


def test_a_scheme_that_two_packages_claim_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    install(tmp_path, "loop_package", "[firstcrank.links]\nloopback = loop_package:open_loop\n")
    install(tmp_path, "other_loop_package", "[firstcrank.links]\nloopback = other_loop_package:open_loop\n")
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(UsageError, match=r"loop_package:open_loop and other_loop_package:open_loop"):
        open_link("loopback:x")


def test_without_scipy_the_simulated_vehicle_says_which_extra_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.partition(".")[0] in ("scipy", "firstcrank_sim")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "scipy", None)
    with pytest.raises(MissingExtraError, match=r"scipy.*firstcrank\[sim\]"):
        find_opener("sim")


@pytest.mark.parametrize("port", ["COM3", "/dev/ttyACM0", "socket://host:7000", "rfc2217://host:7000", "C:name"])
def test_serial_ports_and_their_urls_are_no_schemes(port: str) -> None:
    assert SCHEME.fullmatch(port) is None
