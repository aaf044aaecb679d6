"""The staircase against five real RP2040 boards: where each code begins, measured by somebody else.

Source: github.com/kitanokitsune/rp2040adc_correction, commit 61898dd, actual_adc_data/data_rp2040: 32,768 inputs of a 16-bit source,
12 conversions each, for five boards; evaluated into tests/published/data/rp2040_five_boards.csv.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from firstcrank.converters import CONVERTERS, evened

TABLE = np.loadtxt(Path(__file__).parent / "data" / "rp2040_five_boards.csv", delimiter=",", skiprows=3)
CODES = np.arange(40, 4080)


def inputs(board: int) -> tuple[np.ndarray, np.ndarray]:
    """Middle and width of each code of CODES, in codes of an even converter."""
    begins, ends = (np.interp(CODES + step, TABLE[:, 0], TABLE[:, board]) for step in (0, 1))
    return (begins + ends) / 2, ends - begins


def off_line(codes: np.ndarray, board: int) -> np.ndarray:
    """Input less the best straight line through `codes`; weighted by how much input falls on each."""
    middle, width = inputs(board)
    return np.asarray(middle - np.polyval(np.polyfit(codes, middle, 1, w=np.sqrt(width)), codes))


@pytest.mark.parametrize("board", range(1, 6))
def test_the_wide_codes_are_where_and_as_wide_as_stated(board: int) -> None:
    width = dict(zip(CODES.tolist(), inputs(board)[1].tolist(), strict=True))
    for code, stated in CONVERTERS["rp2040"].wide:
        assert width[code] == pytest.approx(stated, abs=1.1)
        assert max(width[code - 1], width[code + 1]) < 2.0


@pytest.mark.parametrize("board", range(1, 6))
def test_the_staircase_leaves_the_stated_residual(board: int) -> None:
    width = inputs(board)[1]
    plain, left = (off_line(codes, board) for codes in (CODES.astype(float), evened("rp2040", CODES)))
    rms = [float(np.sqrt(np.average(r**2, weights=width))) for r in (plain, left)]
    assert rms[0] > 2.7  # a straight line alone
    assert rms[1] < CONVERTERS["rp2040"].residual_code + 0.05
    assert np.abs(left).max() < 2.0


def test_the_offset_of_a_nominal_line_covers_all_five() -> None:
    """All five read 11 to 17 codes with their inputs at 0 V."""
    at_zero = []
    for board in range(1, 6):
        middle, width = inputs(board)
        slope, offset = np.polyfit(evened("rp2040", CODES), middle, 1, w=np.sqrt(width))
        at_zero.append(-offset / slope)
    assert min(at_zero) > 11.0
    assert max(at_zero) < CONVERTERS["rp2040"].offset_code + 0.5
