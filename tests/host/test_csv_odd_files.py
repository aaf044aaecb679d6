"""CSV files that no logger should write: each ends in one line, in little memory, with nothing on standard error."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest

from firstcrank.errors import UnreadableTraceError
from firstcrank.tracefiles import csv_cells
from firstcrank.tracefiles.csv import read_csv

HEADER = "t_s,battery_v,key_switch_v\n"


def rows(count: int = 400) -> str:
    return "".join(f"{n / 1000:.4f},12.{n % 7}3,11.{n % 5}1\n" for n in range(count))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (HEADER + rows() + "0.5,1_2,11\n", "line 402, column battery_v: '1_2' is not a number"),
        (HEADER + rows() + "0.5,١٢,11\n", "column battery_v: '١٢' is not a number"),
        (HEADER + rows() + "0.5,infinity,11\n", "'infinity' is no reading"),
        (HEADER + rows() + "0.5,1e999,11\n", "'1e999' is no reading"),
        (HEADER + rows() + "0.5,12\n", "line 402: the column key_switch_v is missing"),
        (HEADER + rows() + "0.5,12,11,10\n", "line 402: 4 cells under 3 column names"),
        (HEADER + rows() + '0.5,"12,11\n', "line 402"),
        (HEADER + rows() + "0.5,0x10,11\n", "'0x10' is not a number"),
        (HEADER + rows() + "0.5," + "9" * 5000 + "x,11\n", "is not a number"),
        ("x" * 200_000 + "," + HEADER + rows(), "line 1: field larger than field limit"),
        ("x" * 3_000_000, "line 1 is longer than a row of names"),
        (HEADER + "1" * 3_000_000, "longer than a row of numbers"),
        (HEADER + rows() + "\ud800", "not a text file in UTF-8"),
        (HEADER + "\n\n\n", "a header and no rows"),
        ("\x00" * 5000, "the file is empty"),
        (HEADER + "\x00" * 3_000_000, "longer than a row of numbers"),
    ],
)
def test_odd_files_end_in_one_line(tmp_path: Path, text: str, expected: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(UnreadableTraceError) as error:
            read_csv(path)
    assert expected in str(error.value)
    assert len(str(error.value)) < 1000
    assert "\n" not in str(error.value)


def test_a_sparse_file_of_gigabytes_takes_no_memory(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    with path.open("wb") as file:
        file.write(HEADER.encode() + rows().encode())
        file.truncate(2_000_000_000)
    with pytest.raises(UnreadableTraceError, match="longer than a row of numbers"):
        read_csv(path)
    with path.open("wb") as file:
        file.truncate(2_000_000_000)
    with pytest.raises(UnreadableTraceError, match="empty"):
        read_csv(path)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("comma", [False, True])
@pytest.mark.parametrize("piece", [64, 1 << 20])
def test_every_way_through_the_reader_gives_the_same_numbers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, end: str, mark: str, comma: bool, piece: int
) -> None:
    """In one call, in pieces, cell by cell; with either decimal mark and any end of lines: to the last bit."""
    rng = np.random.default_rng(4)
    table = np.column_stack([np.arange(300) / 1000, rng.normal(12, 0.1, 300), rng.normal(11.9, 0.1, 300)])
    lines = [",".join(f"{value:.5f}" for value in row) for row in table]
    if comma:
        lines = [line.replace(",", ";").replace(".", ",") for line in lines]
    head = HEADER.strip().replace(",", ";") if comma else HEADER.strip()
    text = mark + end.join([head, *lines[:150], "", *lines[150:]]) + end
    monkeypatch.setattr(csv_cells, "PIECE_BYTES", piece)
    found = []
    for name, body in (
        ("plain", text),
        ("quoted", text.replace(lines[7], ";".join(f'"{c}"' for c in lines[7].split(";"))) if comma else text),
    ):
        path = tmp_path / f"{name}.csv"
        path.write_bytes(body.encode())
        trace = read_csv(path).trace
        found.append(trace.channels["battery"].mean_v)
        assert np.array_equal(trace.channels["key_switch"].mean_v, np.round(table[:, 2], 5))
    assert np.array_equal(found[0], np.round(table[:, 1], 5))
    assert np.array_equal(found[0], found[1])


def test_other_columns_may_hold_text(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    lines = [f"{line},note {n}" for n, line in enumerate(rows().splitlines())]
    path.write_text(HEADER.strip() + ",remark\n" + "\n".join(lines) + "\n")
    assert len(read_csv(path).trace) == 400


def test_the_line_of_a_row_is_told_through_blank_lines_and_pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(csv_cells, "PIECE_BYTES", 50)
    path = tmp_path / "a.csv"
    path.write_text(HEADER + "\n\n" + rows(100) + "\n0.01,12,11\n" + rows(3))
    with pytest.raises(UnreadableTraceError, match="line 105: time does not rise"):
        read_csv(path)
