"""A number that decides is a limit or a threshold in a table, as docs/method.md says: none stands in the code that compares.

Looked for are named constants of modules, numbers within comparisons, and numbers that bound a stretch of time or a quantile. Free are
0, 1, 2, a half, a hundred (of percent), what is as small as rounding, and the few readings that a mean or a median needs at all.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from firstcrank.thresholds import rows, thresholds_for

HOST = Path(__file__).parents[2] / "host" / "firstcrank"
FOLDERS = ("analysis", "visit", "calibrating", "board", "tracefiles")
FILES = ("noise.py", "calibration_age.py", "limit_profiles.py", "recorder.py", "report/changes.py", "report/before_after.py")
FREE = {0, 1, 2, -1, 0.5, 100}
FEWEST = 8  # readings of which a median is taken: up to here a count only keeps it from being none
BOUNDS = {"within": 0, "quantile": 1, "percentile": 1, "searchsorted": 0}  # and from which argument on

# What stays, by file: a name or a comparison as it is written, and why it decides nothing of a verdict, a visit or a calibration.
TIMES = "how long a program waits for a board, or how much it asks for at once"
SIZES = "sizes of buffers and of what is read at once"
SYSTEM = "which of the two systems"
MACHINE = "bits and bytes of a format or of a machine"
STAYS = {
    "analysis/compare.py": {"BEFORE_S, AFTER_S, STEP_S": "what of two cranks is drawn side by side"},
    "analysis/live.py": {"UV_PER_V": "a unit"},
    "analysis/leads.py": {"limits.system_v == 24": SYSTEM},
    "analysis/obligations/leads.py": {"MILLI": "a unit", "system_v == 12": SYSTEM},
    "analysis/obligations/feed_drop.py": {"abs(drop.value - fail_v) < 0.0005": "rounding of what is printed"},
    "analysis/obligations/feed_losses.py": {"drop.duration_s >= 0.1": "whether one time is printed or two"},
    "visit/checklist.py": {"system_v != 24": SYSTEM},
    "visit/harness_watch.py": {"MOST_KEPT": SIZES, "MOST_PLACES": SIZES},
    "calibrating/history.py": {"EVEN_SAMPLES": "a mean without noise, for a comparison"},
    "calibrating/sheet.py": {"STATED_AT_V": "the voltages that the sheet prints"},
    "calibrating/typed.py": {"len(text) <= 40": "what is printed of a text"},
    "board/alone.py": {"BIN_US": SIZES, "limits.system_v == 12": SYSTEM},
    "board/bins_stream.py": {"QUIET_S": TIMES},
    "board/captures.py": {"PIECES": TIMES, "ANSWER_S": TIMES, "TRIES": TIMES},
    "board/check.py": {"LINK_BYTES": TIMES, "LINK_S": TIMES},
    "board/compiling.py": {
        "content[1] != mpy & 255": MACHINE,
        "content[2] & 3 == mpy >> 8 & 3": MACHINE,
    },
    "board/install.py": {"LEAST_MICROPYTHON": "a version", "SPARE_BYTES": SIZES},
    "board/pin_network.py": dict.fromkeys(
        ("SUPPLY_V", "CODES", "R_SERIES_OHM", "FIRST_S, SECOND_S", "LEAD_PINS", "FIRST_GPIO"), "the board as it is built"
    ),
    "tracefiles/bin_arrays.py": {"US": "a unit", "0 <= value < 1 << 62": MACHINE},
    "tracefiles/csv_cells.py": dict.fromkeys(("PIECE_BYTES", "LONGEST_LINE", "WHOLE_BYTES", "MOST_NAMES"), SIZES),
    "tracefiles/csv_export.py": {"ROWS_AT_ONCE": SIZES},
    "tracefiles/format.py": {"HEAD_BYTES": SIZES},
    "tracefiles/frames.py": {"CHUNK_BYTES": SIZES, "len(rest) > 16 * CHUNK_BYTES": SIZES},
    "tracefiles/native.py": {"MOST_LIMITS_BYTES": SIZES, "abs(value) < 1000000000.0": "a number that a file may hold"},
    "tracefiles/native_writer.py": {"REPEAT_BYTES": SIZES},
    "tracefiles/notes.py": {"PIECE_CHARS": SIZES, "HASH_CHARS": SIZES, "MOST_CHARS": SIZES},
    "recorder.py": {"LEADS_EVERY_S": TIMES, "QUIET_S": TIMES, "END_S": TIMES},
    "report/before_after.py": {"WIDTHS": "a layout"},
}

# Rows that stand for a constant of the board's program or of start_tracker.py: test_board_numbers.py holds them equal.
BOARDS = {f"armed_{n}" for n in ("sag_share", "blocks", "least_code")} | {
    f"board_{n}" for n in ("bounds_bins", "hidden_share", "drop_bins")
}
BOARDS |= {"off_seen_s", "again_s", "crank_seen_s", "release_seen_s", "live_margin_s", "inrush_s", "swings_least"}
MEMORY = {"MOST_DROPOUTS", "MOST_UNPROVED", "NO_BOUNCE", "VAGUE", "BOUNCE"}  # how much is kept, and names of outcomes
IN_OTHER_UNITS = {  # percent, milliseconds, sixteenths of a code
    "100 * length_us < NEARLY * table['bounce_us']",
    "start.longest_us() >= table['crank_ms'] * 1000",
    "start.longest_us() >= table['crank_running_ms'] * 1000",
    "start.longest_us() < 1000 * table['crank_running_ms']",
    "words[key + 2] * 16 > self._table['live16']",
}


def is_free(value: object) -> bool:
    """Whether a number decides nothing by itself: none, one, two, a half, or as small as rounding."""
    return isinstance(value, bool) or not isinstance(value, int | float) or value in FREE or 0.0 < abs(value) <= 1e-9


def numbers(node: ast.AST) -> list[float]:
    """Numbers below a node that are not free, but for indices."""
    indices = {id(i) for n in ast.walk(node) if isinstance(n, ast.Subscript) for i in ast.walk(n.slice)}
    return [n.value for n in ast.walk(node) if isinstance(n, ast.Constant) and id(n) not in indices and not is_free(n.value)]  # type: ignore[misc]


def counts_few(compare: ast.Compare) -> bool:
    """`len(x) < 8`, `chosen.sum() < 8`: whether there are readings at all."""
    counted = any(
        isinstance(n, ast.Call) and ast.unparse(n.func).rsplit(".", 1)[-1] in ("len", "sum") for n in ast.walk(compare)
    )
    whole = all(isinstance(v, int) and v <= FEWEST for v in numbers(compare))
    return whole and (counted or ast.unparse(compare.left) in ("before", "stop - begin", "inside.stop - inside.start"))


def inner_name(call: ast.Call) -> str:
    """The last part of what is called."""
    return ast.unparse(call.func).rsplit(".", 1)[-1]


def found_in(source: str) -> Iterator[str]:
    """Named constants, comparisons and bounds with a number of their own, as they are written."""
    tree = ast.parse(source)
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant | ast.Tuple | ast.UnaryOp | ast.BinOp):
            name = ast.unparse(node.targets[0]).strip("()")
            if name.replace(", ", "").replace("_", "").isupper() and numbers(node.value):
                yield name
    for inner in ast.walk(tree):
        if isinstance(inner, ast.Compare) and numbers(inner) and not counts_few(inner):
            yield ast.unparse(inner)
        elif isinstance(inner, ast.Call) and inner_name(inner) in BOUNDS:
            yield from (ast.unparse(inner) for bound in inner.args[BOUNDS[inner_name(inner)] :] if numbers(bound))


def files() -> dict[str, Path]:
    """Every file in which something is decided, by its path in the package."""
    paths = [path for folder in FOLDERS for path in sorted((HOST / folder).rglob("*.py"))] + [HOST / name for name in FILES]
    return {path.relative_to(HOST).as_posix(): path for path in paths}


@pytest.mark.parametrize("name", files())
def test_no_number_decides_outside_the_tables(name: str) -> None:
    assert set(found_in(files()[name].read_text("utf-8"))) - set(STAYS.get(name, {})) == set()


def test_what_stays_is_there_with_a_reason() -> None:
    for name, reasons in STAYS.items():
        assert set(reasons) <= set(found_in(files()[name].read_text("utf-8"))), name
        assert all(reasons.values())


def test_every_threshold_is_read() -> None:
    """A row that nothing reads would be printed as if it decided."""
    code = "\n".join(path.read_text("utf-8") for path in HOST.rglob("*.py") if path.parent.name != "thresholds")
    attributes = set(re.findall(r"\.(\w+)", code)) | BOARDS
    rows_read = {row.split(".")[1] for row, *_ in rows(thresholds_for(12))}
    assert rows_read - attributes == set()


@pytest.mark.parametrize("name", ["quick_judge", "feed_watch", "armed"])
def test_what_the_board_decides_by_is_held_against_the_tables(name: str) -> None:
    """The board's own constants: each is named in tests/host/test_board_numbers.py, which compares it with its row."""
    source = (HOST.parents[1] / "firmware" / "firstcrank_board" / f"{name}.py").read_text("utf-8")
    held = (Path(__file__).parent / "test_board_numbers.py").read_text("utf-8")
    named = {part.strip() for found in found_in(source) for part in found.split(",") if part.strip().isidentifier()}
    assert {part for part in named - MEMORY if f".{part}" not in held} == set()
    assert {found for found in found_in(source) if not re.fullmatch(r"[A-Z_, ]+", found)} <= IN_OTHER_UNITS


@pytest.mark.parametrize(
    "source",
    [
        "LEAST_V = 0.3",
        "A_S, B_S = 0.3, 0.4",
        "x = drop_v > 0.3",
        "x = drop_v > 0.7 * warn_v",
        "x = len(rows) < 40",
        "x = view.within(start_s - 0.3, end_s)",
        "x = np.quantile(volts, 0.9)",
    ],
)
def test_a_number_that_decides_is_found(source: str) -> None:
    assert list(found_in(source))


@pytest.mark.parametrize(
    "source", ["least_v = 0.3", "x = a[3] > b", "x = len(rows) < 8", "x = drop_v > 0.5 * warn_v", "x = a > b + 1e-9"]
)
def test_what_decides_nothing_is_free(source: str) -> None:
    assert not list(found_in(source))
