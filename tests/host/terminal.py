"""The real program in a pseudo-terminal, its screen read back as a person sees it."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

import pexpect

ESCAPES = re.compile(r"\x1b\[[0-9;?]*[ -/]*[@-~]|\x1b[()][A-Z0-9]|\x1b[=>]|\x07")


def run_at(
    folder: Path,
    *args: str,
    height: int = 24,
    width: int = 80,
    term: str = "xterm-256color",
    timeout_s: float = 90.0,
    **extra: str,
) -> pexpect.spawn[str]:
    """The program started in `folder` at a terminal of that size; the environment is the test's own with `extra`."""
    environment = {
        **{k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES", "NO_COLOR")},
        "TERM": term,
        "FIRSTCRANK_SETTINGS": str(folder / "settings.toml"),
        "FIRSTCRANK_STORE": str(folder / "shop.sqlite"),
        **extra,
    }
    return pexpect.spawn(
        sys.executable,
        ["-m", "firstcrank.cli.main", *args],
        cwd=str(folder),
        env=environment,
        dimensions=(height, width),
        encoding="utf-8",
        codec_errors="replace",
        timeout=timeout_s,
    )


def finished(program: pexpect.spawn[str], keep: str = "") -> tuple[int, str]:
    """Exit code and everything it printed, `keep` being what was read before."""
    program.expect(pexpect.EOF)
    output = keep + str(program.before)
    program.close()
    code = program.exitstatus if program.exitstatus is not None else -(program.signalstatus or 0)
    return code, output


def plain(output: str) -> str:
    """Without what steers the terminal."""
    return ESCAPES.sub("", output).replace("\r", "")


def last_screenful(output: str, height: int) -> list[str]:
    """What stands on the screen when the program has ended: its last lines."""
    return plain(output).rstrip("\n").split("\n")[-height:]
