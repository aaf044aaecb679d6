"""The compiled kernels in a real MicroPython: equal to their plain twins, and no allocation while the heap is locked.

The plain twins against CPython's libraries and the host's own: tests/firmware/test_kernels_plain.py.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from .unix_board import interpreter, lay_out

HERE = Path(__file__).parent
NEEDED = {
    "fold_viper.fold",
    "framing_viper.bins_body",
    "framing_viper.header",
    "framing_viper.pad",
    "crc_viper.crc_into",
    "stuff_viper.stuff",
    "rp2_edges.copy_codes",
    "edge_viper.pack",
    "edge_viper.unpack",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("board")
    lay_out(made)
    return made


def run(*args: object) -> str:
    done = subprocess.run([str(a) for a in args], capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.endswith("done\n"), done.stdout + done.stderr
    return done.stdout


def test_the_compiled_kernels_equal_their_plain_twins(folder: Path) -> None:
    """Random codes, one to eight channels, bins of 1 to 1,000 conversions a channel and the longest there are."""
    output = run(interpreter(), "-X", "heapsize=8m", HERE / "kernel_twins.py", folder, 400)
    counts = dict(re.findall(r"^(\S+): (\d+) equal \(check_(?!long)", output, re.MULTILINE))
    assert set(counts) == NEEDED
    assert all(int(count) >= 400 for count in counts.values()), counts


def test_the_interrupts_folding_equals_the_plain_fold(folder: Path) -> None:
    """rp2_service on memory with short addresses: it keeps addresses in 32-bit words."""
    interpreter()
    output = run(sys.executable, HERE / "low_memory.py", HERE / "segment_twins.py", folder, 400)
    (bins,) = re.findall(r"400 recordings, (\d+) bins equal", output)
    assert int(bins) > 10_000


def test_nothing_is_allocated_while_bins_are_made_and_framed(folder: Path) -> None:
    output = run(interpreter(), HERE / "no_allocation.py", folder)
    assert output.count("no allocation: ") == 11
    assert "allocates: framing.crc_into" in output  # the lock tells: the plain twin does take memory


def test_the_check_finds_a_kernel_that_is_wrong(tmp_path: Path) -> None:
    """viper's y = -x fault, as fold_viper would have it: the twins tell."""
    lay_out(tmp_path)
    kernel = tmp_path / "firstcrank_board" / "fold_viper.py"
    kernel.write_text(kernel.read_text().replace("if code > highest:", "if code >= 4095 - -highest:"))
    done = subprocess.run(
        [interpreter(), str(HERE / "kernel_twins.py"), str(tmp_path), "20"], capture_output=True, text=True, check=False
    )
    assert "fold_viper.fold differs from its twin" in done.stdout + done.stderr
