"""The firmware keeps to mypy's strict rules, the check sees every file, and what is written for it reaches no board."""

from __future__ import annotations

import ast

import pytest

from firstcrank.board.compiling import compiled
from firstcrank.board.files import MAIN, PACKAGE, board_files
from tests.firmware.check_types import problems

KERNELS = {f"{PACKAGE}/{name}.py" for name in ("edge_thumb", "fold_thumb", "frame_thumb")} | {
    f"{PACKAGE}/{name}_viper.py" for name in ("crc", "edge", "fold", "framing", "stuff")
}
MPY = {"RP2040": 4 << 10 | 3 << 8 | 6, "RP2350": 7 << 10 | 3 << 8 | 6, "Linux": 2 << 10 | 3 << 8 | 6}  # sys.implementation._mpy


def test_the_firmware_is_free_of_type_errors() -> None:
    assert problems(board_files()) == []


def test_an_error_in_any_file_is_found_but_in_the_kernels() -> None:
    files = {name: content + b"\nplanted: int = 'text'\n" for name, content in board_files().items()}
    found = {line.split(":")[0].rpartition("/")[2] for line in problems(files)}
    assert len(found) > 30
    assert found == {name.rpartition("/")[2] for name in files.keys() - KERNELS}


def with_error(files: dict[str, bytes], name: str, good: str, bad: str) -> None:
    assert good in files[name].decode()
    files[name] = files[name].replace(good.encode(), bad.encode(), 1)


@pytest.mark.slow
def test_what_a_slip_would_look_like_is_found() -> None:
    files = board_files()
    with_error(files, f"{PACKAGE}/about.py", "return json.dumps(body).encode()", "return json.dumps(body)")
    with_error(files, f"{PACKAGE}/lamp.py", "def tick(self) -> None:", "def tick(self):")
    with_error(files, f"{PACKAGE}/board.py", "machine.PWRON_RESET", "machine.POWERON_RESET")  # not in the chip's module
    with_error(files, f"{PACKAGE}/trouble.py", "time.sleep_ms(10)", "time.monotonic()")  # in CPython's module alone
    with_error(files, f"{PACKAGE}/rp2_service.py", "end_block(s)", "end_block(s, 1)")  # compiled, and checked all the same
    with_error(files, MAIN, "arena.reserve(arena.FIRST)", "arena.reserve(1)")
    found = {(line.split(":")[0], line.rpartition(" ")[2]) for line in problems(files) if ": error:" in line}
    assert found >= {
        ("firmware/firstcrank_board/about.py", "[return-value]"),
        ("firmware/firstcrank_board/lamp.py", "[no-untyped-def]"),
        ("firmware/firstcrank_board/board.py", "[attr-defined]"),
        ("firmware/firstcrank_board/trouble.py", "[attr-defined]"),
        ("firmware/firstcrank_board/rp2_service.py", "[call-arg]"),
        ("firmware/main.py", "[arg-type]"),
    }


class WithoutTypes(ast.NodeTransformer):
    """Takes out what only mypy reads. Functions with a decorator of the compiler keep theirs: viper goes by it."""

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.FunctionDef:
        if any(ast.unparse(decorator).startswith("micropython.") for decorator in node.decorator_list):
            return node
        self.generic_visit(node)
        node.returns = None
        for argument in [*node.args.args, *node.args.kwonlyargs, *filter(None, (node.args.vararg, node.args.kwarg))]:
            argument.annotation = None
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.Assign | None:
        return None if node.value is None else ast.Assign([node.target], node.value, lineno=node.lineno)

    def visit_If(self, node: ast.If) -> ast.If | None:
        self.generic_visit(node)
        return None if isinstance(node.test, ast.Constant) and node.test.value == 0 else node


@pytest.mark.parametrize("chip", MPY)
def test_types_change_no_byte_of_what_a_board_gets(chip: str) -> None:
    # Both as ast writes them: MicroPython compiles `a, b = c, d` in another way than `a, b = (c, d)`.
    typed = {name: ast.unparse(ast.parse(content)).encode() for name, content in board_files().items()}
    bare = {name: ast.unparse(WithoutTypes().visit(ast.parse(content))).encode() for name, content in typed.items()}
    assert sum(b"board_types" in content for content in typed.values()) > 15
    assert not any(b"board_types" in content for content in bare.values())
    with_types, without = compiled(typed, MPY[chip]), compiled(bare, MPY[chip])
    assert with_types is not None
    assert without is not None
    assert sum(name.endswith(".mpy") for name in with_types) > 35
    assert {n: with_types[n] for n in with_types if n.endswith(".mpy")} == {
        n: without[n] for n in without if n.endswith(".mpy")
    }


def test_nothing_in_main_is_written_for_mypy_alone() -> None:
    tree = ast.parse(board_files()[MAIN])
    assert ast.unparse(WithoutTypes().visit(ast.parse(board_files()[MAIN]))) == ast.unparse(tree)
