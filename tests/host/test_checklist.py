"""The checklist: every check whole, readings in any spelling, nothing complete while something is open."""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path

import pytest

from firstcrank.analysis.switch_test import SwitchResult, SwitchWord
from firstcrank.cli.checklist import keep_by_board
from firstcrank.cli.main import main
from firstcrank.errors import UsageError
from firstcrank.jobs.records import job_detail
from firstcrank.jobs.store import open_store
from firstcrank.visit.checklist import (
    Outcome,
    State,
    checks_of,
    from_switch_test,
    from_watch,
    judge_reading,
    note_of,
    open_checks,
    outcomes_of,
    slipped,
    typed_reading,
)

from .terminal import finished, plain, run_at

SHIPPED = checks_of(tomllib.loads((resources.files("firstcrank.data") / "checklist.toml").read_text("utf-8")), "shipped")


def test_the_40_checks_stand_in_order_and_each_is_whole() -> None:
    assert [check.number for check in SHIPPED] == list(range(1, 41))
    for check in SHIPPED:
        assert all((check.text, check.why, check.how, check.expect, check.fails, check.next)), check.number
        if check.kind == "reading":
            assert check.low is not None or check.high is not None
    assert [c.part[0] for c in SHIPPED] == sorted(c.part[0] for c in SHIPPED)


@pytest.mark.parametrize(
    ("text", "volts"), [("12,4", 12.4), ("12.4 V", 12.4), ("12400 mV", 12.4), ("12.4v", 12.4), ("0,02", 0.02)]
)
def test_one_value_in_every_spelling(text: str, volts: float) -> None:
    assert typed_reading(text, "V") == pytest.approx(volts)


@pytest.mark.parametrize("text", ["", "twelve", "12.4 A", "12.4.1", "nan", "1e9 V"])
def test_what_is_no_reading_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="no reading"):
        typed_reading(text, "V")


def test_124_v_is_questioned_and_a_flat_battery_is_not() -> None:
    battery = SHIPPED[12]
    limits = (battery.low, battery.high)
    assert slipped(battery, 124.0, limits)
    assert not slipped(battery, 11.1, limits)
    assert judge_reading(12.6, limits, "V").state is State.DONE
    assert judge_reading(11.1, limits, "V").state is State.FAILED
    assert judge_reading(13.2, limits, "V").text == "13.2 V (12.4 to 13.2 V)"


def test_an_open_or_failed_item_is_never_complete() -> None:
    outcomes = {check.number: Outcome(State.DONE) for check in SHIPPED}
    assert not open_checks(SHIPPED, outcomes)
    for state, is_open in ((State.FAILED, True), (State.OPEN, True), (State.SKIPPED, False), (State.NOT_APPLICABLE, False)):
        assert bool(open_checks(SHIPPED, {**outcomes, 7: Outcome(state, "why")})) == is_open
    assert open_checks(SHIPPED, {n: o for n, o in outcomes.items() if n != 7}) == (SHIPPED[6],)


def test_notes_are_read_back_and_the_latest_wins() -> None:
    check = SHIPPED[12]
    notes = [
        "a note of somebody's",
        note_of(check, Outcome(State.FAILED, "11.1 V")),
        note_of(check, Outcome(State.DONE, "12.6 V")),
    ]
    assert outcomes_of(notes) == {13: Outcome(State.DONE, "12.6 V")}


@pytest.mark.parametrize(
    "row", [{"number": 1}, {"number": 1, "kind": "guess"}, "text", {**dict.fromkeys(("part", "text"), "x"), "number": 1}]
)
def test_a_list_that_can_not_be_used_is_told(row: object) -> None:
    with pytest.raises(UsageError, match="check 1"):
        checks_of({"check": [row]}, "ours.toml")


def test_a_visit_to_the_terminal_resumes_and_stands_in_the_record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FIRSTCRANK_STORE", str(tmp_path / "shop.sqlite"))
    with pytest.raises(SystemExit):
        main(["jobs", "new", "1207", "--engine", "invented 2.8"])
    program = run_at(tmp_path, "checklist", "1207", "--check", "13", "--check", "20")
    program.expect("a reading")
    program.sendline("124")
    program.expect("slipped")
    program.sendline("n")
    program.expect("a reading")
    program.sendline("12,6")
    program.expect("y yes")
    program.sendline("s")
    program.expect("Why")
    program.sendline("bulbs on order")
    code, output = finished(program)
    assert code == 1
    assert "2 of 40 closed (1 done, 1 skipped)" in plain(output)
    assert "bus ohms" not in plain(output)  # the rows are for --show: what was just found stays on the screen
    code, output = finished(run_at(tmp_path, "checklist", "1207", "--show"))
    assert code == 1
    assert "12.6 V" in plain(output)
    assert "skipped" in plain(output)


@pytest.mark.parametrize(("answer", "state"), [("y", State.DONE), ("n", State.FAILED), ("s", None)])
def test_one_reading_does_not_close_a_check_that_needs_two(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: str, state: State | None
) -> None:
    monkeypatch.setenv("FIRSTCRANK_STORE", str(tmp_path / "shop.sqlite"))
    with pytest.raises(SystemExit):
        main(["jobs", "new", "1207", "--engine", "invented 2.8"])
    program = run_at(tmp_path, "checklist", "1207", "--check", "7")
    program.expect("a reading")
    program.sendline("0.4")
    program.expect("to the other's pin")
    program.sendline(answer)
    if state is None:
        program.expect("stays open")
        program.expect("a reading")
        program.sendline("q")
    finished(program)
    with open_store(str(tmp_path / "shop.sqlite")) as store:
        notes = [note["text"] for note in job_detail(store, "1207").notes]
    found = outcomes_of(notes).get(7)
    assert (found.state if found else None) is state


def test_at_24_v_supply_volts_double_and_bus_and_ohms_stay() -> None:
    checks = {check.number: check for check in SHIPPED}
    assert checks[13].limits_at(12) == (12.4, 13.2)
    assert checks[13].limits_at(24) == (24.8, 26.4)
    assert checks[19].limits_at(24) == (None, 1.0)
    assert checks[25].limits_at(24) == (
        4.0,
        6.0,
    )  # recessive 2.5 V each: the transceiver's own 5 V supply (ISO 11898-2, from memory)
    assert checks[11].limits_at(24) == (54.0, 66.0)
    ohms = 0.020 / (55.0 / 12.0)  # of the strap by the 12 V row
    assert checks[15].limits_at(24)[1] == pytest.approx(ohms * 55.0 / 24.0)
    assert judge_reading(25.1, checks[13].limits_at(24), "V").state == "done"
    assert judge_reading(12.6, checks[13].limits_at(24), "V").state == "failed"


def test_a_vehicle_of_24_v_at_the_terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FIRSTCRANK_STORE", str(tmp_path / "shop.sqlite"))
    assert code_of("jobs", "new", "1207") == 0
    program = run_at(tmp_path, "checklist", "1207", "--check", "13", "--system", "24")
    program.expect("At 24 V: 24.8 to 26.4 V")
    program.expect("a reading")
    program.sendline("25.3")
    code, output = finished(program)
    assert code == 1  # the others are open
    assert "done: 25.3 V" in plain(output)
    assert "25.3 V (24.8 to 26.4 V)" in plain(output)


def code_of(*args: str) -> int:
    """Exit code of the program."""
    with pytest.raises(SystemExit) as left:
        main(list(args))
    return int(left.value.code or 0)


def test_what_is_published_names_its_source_and_says_it() -> None:
    published = [check for check in SHIPPED if check.status == "P"]
    assert {check.number for check in published} == {13, 16, 24, 25, 32, 33, 34}
    assert all(check.source in check.status_text for check in published)
    row = {
        "number": 1,
        "part": "A",
        "text": "t",
        "why": "w",
        "how": "h",
        "expect": "e",
        "kind": "look",
        "fails": "f",
        "next": "n",
    }
    with pytest.raises(UsageError, match="needs its source"):
        checks_of({"check": [{**row, "status": "P"}]}, "own list")
    assert checks_of({"check": [{**row, "status": "P", "source": "A Manual, page 3"}]}, "own list")[0].source


def test_what_switch_test_and_watch_show_of_their_checks() -> None:
    held = from_switch_test(SwitchResult(SwitchWord.HELD, "ten turns", 10))
    lost = from_switch_test(SwitchResult(SwitchWord.LOST, "0.3 s", 1))
    assert held is not None
    assert lost is not None
    assert (held.state, lost.state) == (State.DONE, State.FAILED)
    assert from_switch_test(SwitchResult(SwitchWord.NOT_SEEN, "no lead", 0)) is None
    assert from_switch_test(SwitchResult(SwitchWord.HELD, "nine turns", 9)) is None  # the check asks for ten
    quiet, shaken = from_watch(0, 600.0, "", ""), from_watch(3, 600.0, "fuse holder", "")
    assert quiet is not None
    assert shaken is not None
    assert (quiet.state, shaken.state) == (State.DONE, State.FAILED)
    assert "fuse holder" in shaken.text
    assert from_watch(0, 0.0, "", "") is None
    assert from_watch(0, 59.9, "", "") is None  # nobody has moved a harness in less than a minute
    assert from_watch(0, 60.0, "", "") is not None
    assert from_watch(0, 600.0, "", "battery at 11.98 V") is None


def test_they_are_kept_with_the_job_and_an_unknown_job_is_told_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = str(tmp_path / "shop.sqlite")
    assert code_of("jobs", "new", "1207", "--store", store) == 0
    keep_by_board("1207", store, "switch_test", from_switch_test(SwitchResult(SwitchWord.HELD, "ten turns", 10)))
    keep_by_board("1207", store, "watch", from_watch(2, 60.0, "bulkhead plug", ""))
    keep_by_board("1207", store, "watch", from_watch(0, 0.0, "", ""))
    assert "stays open" in capsys.readouterr().out
    assert code_of("checklist", "1207", "--store", store, "--show") == 1
    shown = capsys.readouterr().out
    assert " 29  done " in shown
    assert " 30  failed " in shown
    assert code_of("watch", "--job", "9999", "--store", store, "--port", "sim:moved_harness") == 2
    assert code_of("switch-test", "--job", "9999", "--store", store, "--yes", "--port", "sim:switch_held") == 2
