"""CSV of any logger: what is taken, what is refused with line and column, and nothing guessed silently."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from firstcrank.analysis.verdict import judge
from firstcrank.errors import UnreadableTraceError, UsageError
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.tracefiles.csv import parse_map, parse_uncertainty, read_csv
from firstcrank.tracefiles.csv_export import write_csv
from firstcrank.tracefiles.native import from_bytes
from firstcrank.tracefiles.table import load
from tests.acceptance.start import Start

from .sim_recording import recorded

ASKED = Context(cranked_with_key=True, module_plugged_in=True)


def rows(step: int = 16, start: Start | None = None) -> tuple[np.ndarray, ...]:
    start = start or Start()
    rng = np.random.default_rng(2)
    return (start.t[::step], *(v[::step] + rng.normal(0, 0.005, v[::step].shape) for v in start.volts.values()))


def written(path: Path, header: str, columns: tuple[np.ndarray, ...], delimiter: str = ",", comma: bool = False) -> Path:
    with path.open("w", encoding="utf-8") as file:
        file.write(header + "\n")
        np.savetxt(file, np.column_stack(columns), fmt="%.5f", delimiter=delimiter)
    if comma:
        first, _, rest = path.read_text("utf-8").partition("\n")
        path.write_text(first + "\n" + rest.replace(".", ","), "utf-8")
    return path


HEADER = "t_s,battery_v,key_switch_v,starter_coil_v"


def test_a_fast_logger_gets_a_verdict_and_its_accuracy_is_stated(tmp_path: Path) -> None:
    recording = read_csv(written(tmp_path / "a.csv", HEADER, rows()))
    judged = judge(recording.trace, shipped(12), ASKED)
    assert judged.verdict == "PASS", judged.reasons
    assert any("0.50% plus 20 mV" in note for note in recording.trace.notes)
    bad = read_csv(written(tmp_path / "b.csv", HEADER, rows(start=Start().feed_to(0.0, 6.0, 0.05))))
    assert judge(bad.trace, shipped(12), ASKED).verdict == "FAIL"


def test_semicolons_decimal_comma_and_byte_order_mark_are_taken_and_stated(tmp_path: Path) -> None:
    path = written(tmp_path / "a.csv", "\ufeff" + HEADER.replace(",", ";"), rows(40), ";", comma=True)
    plain = read_csv(written(tmp_path / "b.csv", HEADER, rows(40)))
    recording = read_csv(path)
    assert np.allclose(recording.trace.channels["battery"].mean_v, plain.trace.channels["battery"].mean_v, atol=1e-5)
    assert {"columns are separated by semicolons", "numbers have a decimal comma"} <= set(recording.trace.notes)


def test_columns_by_map_and_time_in_milliseconds_by_name(tmp_path: Path) -> None:
    t, *volts = rows(40)
    path = written(tmp_path / "a.csv", "clock,CH1,CH2,CH3", (t * 1000, *volts))
    recording = read_csv(path, parse_map(("t_ms=clock", "battery=CH1", "key_switch=CH2", "starter_coil=CH3")))
    assert float(recording.trace.end_s[-1]) == pytest.approx(float(t[-1]), rel=1e-3)


def test_ten_rows_a_second_are_too_slow(tmp_path: Path) -> None:
    recording = read_csv(written(tmp_path / "a.csv", HEADER, rows(4166)))
    judged = judge(recording.trace, shipped(12), ASKED)
    assert judged.verdict == "NO VERDICT"
    assert any("too far apart" in reason for reason in judged.reasons)


def test_milliseconds_in_the_seconds_column_are_pointed_at(tmp_path: Path) -> None:
    t, *volts = rows(4166)
    recording = read_csv(written(tmp_path / "a.csv", HEADER, (t * 1000, *volts)))
    assert any("t_ms" in note for note in recording.trace.notes)
    assert judge(recording.trace, shipped(12), ASKED).verdict == "NO VERDICT"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "empty"),
        ("t_s,battery_v\n0,12\n", "no column key_switch_v"),
        ("time,battery_v,key_switch_v\n0,12,0\n", "no time column"),
        (HEADER + "\n", "no rows"),
        (HEADER + "\n0,12,0,0\n", "only one row"),
        (HEADER + "\n0,12,0,0\n0.1,twelve,0,0\n", r"line 3, column battery_v: 'twelve'"),
        (HEADER + "\n0,12,0,0\n0.1,12,nan,0\n", "line 3, column key_switch_v"),
        (HEADER + "\n0,12,0,0\n0.1,12,,0\n", "line 3, column key_switch_v"),
        (HEADER + "\n0,12,0,0\n0.1,12\n", "line 3: the column key_switch_v is missing"),
        (HEADER + "\n0,12,0,0\n0.2,12,0,0\n0.1,12,0,0\n", "line 4: time does not rise"),
        (HEADER + "\n0,12,0,0\n0.2,12,0,0\n0.2,12,0,0\n", "line 4: time does not rise"),
    ],
)
def test_what_is_wrong_is_named_by_line_and_column(tmp_path: Path, text: str, expected: str) -> None:
    path = tmp_path / "a.csv"
    path.write_text(text)
    with pytest.raises(UnreadableTraceError, match=expected):
        read_csv(path)


def test_bytes_that_are_no_text_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"\xff\xfe\x00\x80" * 10)
    with pytest.raises(UnreadableTraceError, match="not a text file"):
        read_csv(path)


@pytest.mark.parametrize(
    ("text", "value"), [("0.5%+20mV", (0.005, 0.02)), ("1 %", (0.01, 0.0)), ("0.1% + 0.05 V", (0.001, 0.05))]
)
def test_uncertainty_texts(text: str, value: tuple[float, float]) -> None:
    assert parse_uncertainty(text) == pytest.approx(value)


@pytest.mark.parametrize("text", ["", "20mV", "5", "x%", "1%+2A"])
def test_bad_uncertainty_is_wrong_usage(text: str) -> None:
    with pytest.raises(UsageError, match="uncertainty"):
        parse_uncertainty(text)


@pytest.mark.parametrize("entry", ["battery", "radio=CH1", "battery="])
def test_bad_map_is_wrong_usage(entry: str) -> None:
    with pytest.raises(UsageError, match="map"):
        parse_map((entry,))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (HEADER + "\n0,12,0,0\n0,1,12,3,0,0\n", r"line 3: 6 cells under 4 column names \(a decimal comma"),
        (HEADER + "\n0,12,0,0\n0.1,12,0,0 # start\n", "line 3, column starter_coil_v"),
        (HEADER + "\n# a remark,,,\n0.1,12,0,0\n", "line 2, column t_s: '# a remark'"),
        (HEADER + ",battery_v\n0,12,0,0,11\n", "2 columns are called 'battery_v'"),
        ("t_s,t_ms,battery_v,key_switch_v\n0,0,12,0\n", "both hold time"),
        ("t_s;battery_v;key_switch_v\n0;1.234,5;0\n0.5;12;0\n", "a comma and numbers with a point"),
        (HEADER + "\n\n\n0,12,0,0\n\n0.2,12,0,0\n0.1,12,0,0\n", "line 7: time does not rise"),
        (HEADER + "\n0,12,0,0\n400000,12,0,0\n", "111 hours: if the time is in milliseconds"),
        ("t_s,t_end_s,conversions,battery_v,key_switch_v\n0,0.1,9,12,0\n", "a mean alone hides dropouts"),
    ],
)
def test_what_could_be_read_two_ways_is_refused(tmp_path: Path, text: str, expected: str) -> None:
    path = tmp_path / "a.csv"
    path.write_text(text)
    with pytest.raises(UnreadableTraceError, match=expected):
        read_csv(path)


def test_quoted_cells_and_empty_last_columns_are_taken(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text('"t_s","battery_v","key_switch_v"\r\n"0.0","12.5","0.1",\r\n"0.1","12.4","0.2",\r\n', newline="")
    trace = read_csv(path).trace
    assert trace.channels["battery"].mean_v.tolist() == [12.5, 12.4]


def test_one_column_cannot_be_two_leads(tmp_path: Path) -> None:
    path = written(tmp_path / "a.csv", HEADER, rows(4166))
    with pytest.raises(UsageError, match="two leads"):
        read_csv(path, {"key_switch": "battery_v"})
    with pytest.raises(UsageError, match="has the column"):
        parse_map(("battery=CH1", "battery=CH2"))


def test_a_calibration_is_not_used_on_volts_and_that_is_said(tmp_path: Path) -> None:
    path = written(tmp_path / "a.csv", HEADER, rows(4166))
    calibration = from_bytes(recorded("healthy")).calibration
    assert any("calibration is not used" in note for note in load(path, calibration).trace.notes)


def test_bins_written_as_csv_keep_the_short_dropout_that_their_means_hide(tmp_path: Path) -> None:
    recording = from_bytes(recorded("feed_dead_in_start"))
    path = tmp_path / "bins.csv"
    write_csv(path, recording)
    again = read_csv(path).trace
    trace = recording.trace
    assert np.allclose(again.start_s, trace.start_s - trace.start_s[0], atol=1e-6)
    assert again.conversions.tolist() == trace.conversions.tolist()
    assert np.allclose(again.gap_s, trace.gap_s, rtol=1e-6)
    for role, channel in trace.channels.items():
        for part in ("lowest_v", "highest_v", "mean_v"):
            assert np.allclose(getattr(again.channels[role], part), getattr(channel, part), atol=1e-6)
    assert judge(again, shipped(12), ASKED).verdict == "FAIL"
