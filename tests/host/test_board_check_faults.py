"""`board check` on boards with one thing soldered wrongly: the real command, the firmware's program, pins as circuits make them."""

from __future__ import annotations

import json
import re

import pytest

from firstcrank.cli.main import main
from firstcrank_sim.board.solder_faults import solder_faults

FAULTS = solder_faults()
AT_LEAST = 14
QUICK = (1, 6, 8, 11, 18, 20)  # of FAULTS: a resistor, a joint, a capacitor, a diode, two bridges
NAMES = {
    "leads 1 and 2": "bridge",
    "pins 31 and 32": "bridge",
    "pins 32 and 33": "pin 32",
    "pin 33": "pin 33",
}


def checked(capsys: pytest.CaptureFixture[str], number: int) -> tuple[int, str, list[dict[str, str]]]:
    """Exit code, everything printed, and the lines."""
    with pytest.raises(SystemExit) as end:
        main(["board", "check", "--port", f"sim:healthy,solder={number}", "--json"])
    out, err = capsys.readouterr()
    return int(end.value.code or 0), out + err, json.loads(out)["checks"] if out.startswith("{") else []


def named(capsys: pytest.CaptureFixture[str], number: int) -> bool:
    """Whether a line of the parts names the wrong one, and the board is not called fit."""
    code, _, lines = checked(capsys, number)
    part = FAULTS[number].part
    wanted = NAMES.get(part, part)
    parts = [line for line in lines if line["what"].startswith("parts of") and line["do"]]
    return code == 4 and any(re.search(rf"\b{re.escape(wanted)}\b", line["do"]) for line in parts)


def test_a_good_board_passes(capsys: pytest.CaptureFixture[str]) -> None:
    code, output, lines = checked(capsys, 0)
    assert code == 0, output
    parts = [line for line in lines if line["what"].startswith("parts of")]
    assert [line["outcome"] for line in parts] == ["ok"] * 3
    assert not [line for line in lines if line["outcome"] == "fail"]


def test_a_fault_is_named_by_the_check_itself(capsys: pytest.CaptureFixture[str]) -> None:
    """One of each kind of part that it can name; all of them take longer."""
    assert [FAULTS[n].name for n in QUICK if not named(capsys, n)] == []


@pytest.mark.slow
def test_most_faults_are_named_by_the_check_itself(capsys: pytest.CaptureFixture[str]) -> None:
    """Of those that the hardware notes plant; the rest are found by the meter steps of hardware_notes/bring_up.md."""
    found = [n for n in range(1, len(FAULTS)) if named(capsys, n)]
    missed = [FAULTS[n].name for n in range(1, len(FAULTS)) if n not in found]
    print(f"{len(found)} of {len(FAULTS) - 1} named; not: {', '.join(missed)}")
    assert len(FAULTS) > 20
    assert len(found) >= AT_LEAST, missed


@pytest.mark.parametrize("number", [n for n, fault in enumerate(FAULTS) if fault.keeps_board_off])
def test_a_board_that_is_kept_off_is_not_reached(capsys: pytest.CaptureFixture[str], number: int) -> None:
    code, output, _ = checked(capsys, number)
    assert code == 4
    assert "answer" in output or "board" in output


def test_a_number_that_there_is_not_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    code, output, _ = checked(capsys, 99)
    assert code == 2
    assert "solder=99" in output
