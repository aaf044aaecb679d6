"""Installing: the right files, verified; cut off at any step the board keeps a firmware that works."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

import firstcrank
from firstcrank.board.compiling import compiled
from firstcrank.board.files import MAIN, PORTABLE, board_files, firmware_folder
from firstcrank.board.install import inspect, install
from firstcrank.errors import FirstcrankError, LinkLostError, WrongFirmwareError

OLD = {"firstcrank_board/app.py": b"old app", "firstcrank_board/gone.py": b"only in the old one", MAIN: b"old main"}


class FolderBoard:
    """A board at its prompt whose flash is a folder: the commands run in this Python. Pulled after `steps` of them."""

    def __init__(self, root: Path, steps: int = 10**6, interpreter: str = "micropython", damage: bool = False) -> None:
        self.root, self.steps, self.interpreter, self.damage = root, steps, interpreter, damage
        self.version: tuple[int, int, int] = (1, 24, 1)
        self.mpy = 0

    def _step(self) -> None:
        self.steps -= 1
        if self.steps < 0:
            raise OSError(19, "No such device")

    def exec(self, command: str) -> bytes:
        self._step()
        if "sys.implementation" in command:
            return repr((self.interpreter, self.version, "rp2", True, 800_000, self.mpy)).encode() + b"\r\n"
        for line_end in self._statements(command):
            exec(line_end, self.__dict__.setdefault("names", {}))
        return b""

    def _statements(self, command: str) -> list[str]:
        """The renames of the exchange one by one, so that the cable can be pulled between any two."""
        if "os.rename" not in command:
            return [command]
        exec(command.split("p = '")[0], self.__dict__.setdefault("names", {}))
        names = self.names  # type: ignore[attr-defined]
        real = names["os"]

        class Pulled:
            def __getattr__(inner, name: str) -> object:  # noqa: N805
                if name in ("rename", "remove", "rmdir"):
                    self._step()
                return getattr(real, name)

        names["os"] = Pulled()
        return [command.replace("import os\n", "")]

    def fs_writefile(self, dest: str, data: bytes) -> None:
        self._step()
        Path(dest).write_bytes(data[:-1] if self.damage else data)

    def fs_hashfile(self, path: str, algo: str) -> bytes:
        return hashlib.new(algo, Path(path).read_bytes()).digest()


def on_board(root: Path) -> dict[str, bytes]:
    return {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*") if p.is_file()}


def lay(root: Path, files: dict[str, bytes]) -> None:
    for name, content in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(content)


def boots(root: Path) -> str:
    """What main.py would run after its own mending: "old", "new" or "nothing"."""
    if not (root / "firstcrank_board").exists() and (root / "firstcrank_board.old").exists():
        (root / "firstcrank_board.old").rename(root / "firstcrank_board")
    app = root / "firstcrank_board" / "app.py"
    if not app.exists() or not (root / MAIN).exists():
        return "nothing"
    return "old" if app.read_bytes() == b"old app" else "new"


def test_the_files_are_the_firmware_and_the_hosts_own_portable_ones() -> None:
    files = board_files()
    for name in PORTABLE:
        assert files[f"firstcrank_board/{name}.py"] == (Path(firstcrank.__file__).parent / f"{name}.py").read_bytes()
        assert not (firmware_folder() / "firstcrank_board" / f"{name}.py").exists(), "there is one of it"
    assert {"main.py", "firstcrank_board/app.py", "firstcrank_board/fold.py"} <= set(files)


@pytest.mark.parametrize("before", [{}, OLD], ids=["bare", "update"])
def test_a_bare_board_and_an_update(tmp_path: Path, before: dict[str, bytes]) -> None:
    kept = {"firstcrank.json": b"{}", "firstcrank_calibration.json": b"{1}", "captures/1": b"c"}
    lay(tmp_path, {**before, **kept})
    seen: list[str] = []
    install(FolderBoard(tmp_path), board_files(), lambda name, *_: seen.append(name), root=str(tmp_path))
    assert on_board(tmp_path) == {**board_files(), **kept}
    assert seen == list(board_files())


def test_pulled_at_every_step_the_board_still_starts(tmp_path: Path) -> None:
    outcomes = set()
    for steps in range(60):
        root = tmp_path / str(steps)
        root.mkdir()
        lay(root, OLD)
        try:
            install(FolderBoard(root, steps), board_files(), lambda *_: None, root=str(root))
            finished = True
        except (LinkLostError, OSError):
            finished = False
        state = boots(root)
        assert state in ("old", "new"), steps
        install(FolderBoard(root), board_files(), lambda *_: None, root=str(root))
        assert boots(root) == "new"
        outcomes.add((finished, state))
    assert (False, "old") in outcomes
    assert (True, "new") in outcomes


def test_a_damaged_file_is_never_put_in_place(tmp_path: Path) -> None:
    lay(tmp_path, OLD)
    with pytest.raises(FirstcrankError, match="arrives damaged"):
        install(FolderBoard(tmp_path, damage=True), board_files(), lambda *_: None, root=str(tmp_path))
    assert boots(tmp_path) == "old"


@pytest.mark.parametrize(
    ("interpreter", "version", "expected"),
    [("circuitpython", (9, 0, 0), "not MicroPython"), ("micropython", (1, 22, 2), "too old, 1.24 or newer")],
)
def test_another_interpreter_or_an_old_one_is_refused(
    tmp_path: Path, interpreter: str, version: tuple[int, int, int], expected: str
) -> None:
    board = FolderBoard(tmp_path, interpreter=interpreter)
    board.version = version
    with pytest.raises(WrongFirmwareError, match=expected):
        inspect(board)


def test_a_full_board_is_told(tmp_path: Path) -> None:
    with pytest.raises(FirstcrankError, match="bytes free"):
        install(FolderBoard(tmp_path), {"main.py": b"x" * 900_000}, lambda *_: None, root=str(tmp_path))


RP2040_MPY, RP2350_MPY, ESP32_MPY = 4 << 10 | 3 << 8 | 6, 7 << 10 | 3 << 8 | 6, 10 << 10 | 3 << 8 | 6


def test_the_firmware_is_compiled_for_the_boards_processor(tmp_path: Path) -> None:
    board = FolderBoard(tmp_path)
    board.mpy = RP2040_MPY
    install(board, board_files(), lambda *_: None, root=str(tmp_path))
    there = on_board(tmp_path)
    assert {Path(name).stem for name in there} == {Path(name).stem for name in board_files()}
    assert there[MAIN] == board_files()[MAIN]
    for name, content in there.items():
        if name != MAIN:
            assert content[:2] == b"M\x06", name  # header: documentation of .mpy files, version 6
    assert there["firstcrank_board/rp2_service.mpy"][2] >> 2 == 4  # machine code for armv6m


def test_assembler_that_the_processor_has_not_stays_source_and_other_boards_get_plain_files() -> None:
    for_esp32 = compiled(board_files(), ESP32_MPY)
    assert for_esp32 is not None
    assert [n for n in for_esp32 if n.endswith(".py")] == [
        "firstcrank_board/edge_thumb.py",
        "firstcrank_board/fold_thumb.py",
        "firstcrank_board/frame_thumb.py",
        MAIN,
    ]
    for_rp2350 = compiled(board_files(), RP2350_MPY)
    assert for_rp2350 is not None
    assert [n for n in for_rp2350 if n.endswith(".py")] == [MAIN]
    assert compiled(board_files(), 0) is None
    assert compiled(board_files(), 4 << 10 | 3 << 8 | 7) is None  # a later version of the format


def test_source_that_does_not_compile_is_an_error() -> None:
    with pytest.raises(FirstcrankError, match="broken"):
        compiled({"firstcrank_board/broken.py": b"def x(:"}, RP2040_MPY)
