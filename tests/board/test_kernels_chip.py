"""Every compiled kernel against its plain twin where it is to run: on the official image, the Thumb assembler's among them.

The same checks as in tests/firmware/test_kernels_unix.py, fewer rounds. They take minutes.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from . import flash_image
from .emulator import EmulatedChip
from .image import micropython_image
from .test_fast_acquisition import long

pytestmark = [pytest.mark.emulated_chip, pytest.mark.slow]
CHECKS = Path(__file__).parents[1] / "firmware"
MAIN = b"""
import sys
import time
time.sleep_ms(200)  # the host finds the port
try:
    import kernel_twins
    kernel_twins.SAMPLES = (1, 2, 3, 4, 5, 7, 8, 30)
    kernel_twins.run(8)
    import segment_twins
    segment_twins.main(6, 0, 0)
    print("all done")
except Exception as error:
    sys.print_exception(error)
    print("all done")
"""
KERNELS = {
    "fold_viper.fold",
    "fold_viper.accumulate",
    "fold_thumb.accumulate",
    "framing_viper.bins_body",
    "framing_viper.header",
    "framing_viper.pad",
    "crc_viper.crc_into",
    "frame_thumb.crc_into",
    "stuff_viper.stuff",
    "frame_thumb.stuff",
    "rp2_edges.copy_codes",
    "edge_viper.pack",
    "edge_viper.unpack",
    "edge_viper.scan",
    "edge_thumb.pack",
    "edge_thumb.unpack",
    "edge_thumb.scan",
}


@long
def test_the_kernels_equal_their_twins_on_the_chip(tmp_path: Path) -> None:
    flash = tmp_path / "flash.img"
    files = flash_image.firmware_files()
    for name in ("kernel_twins.py", "segment_twins.py"):
        files["/" + name] = (CHECKS / name).read_bytes()  # plain, so that their assertions stay
    flash_image.build(flash, files | {"/main.py": MAIN})
    chip = EmulatedChip(micropython_image(), flash, lambda channel, t: 0)
    chip.boot()
    output = b""

    def over() -> bool:
        nonlocal output
        output += chip.take()
        return b"all done" in output or b">>> " in output

    chip.run_until(over, 600.0)
    text = output.decode()
    assert "Error" not in text, text
    counts = dict(re.findall(r"^(\S+): (\d+) equal", text, re.MULTILINE))
    assert set(counts) == KERNELS, text
    assert re.search(r"6 recordings, \d+ bins equal", text), text
