"""Nothing is lost in silence: what a board could not keep, could not do, or did not live to see is counted and reported."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from firstcrank import wire
from firstcrank.board.alone import alone_table
from firstcrank.calibration import read_calibration
from firstcrank.limits import shipped
from firstcrank_sim.board.firmware_program import load

from .scripted_board import CHANNELS, ScriptedBoard, Store, table

NOMINAL = Path(wire.__file__).parent / "data" / "calibration_minimal_12v.toml"


class Captures:
    """No capture is there."""

    def table(self) -> list[dict[str, Any]]:
        return []


def alone() -> dict[str, Any]:
    return alone_table(shipped(12), read_calibration(NOMINAL), CHANNELS)


# --- the table for working alone --------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", [*load("alone_table").CODES16, *load("alone_table").CODES, *load("alone_table").TIMES, "ratio4096"]
)
@pytest.mark.parametrize("value", [None, "12", 1 << 30, -1, True])
def test_every_number_of_the_table_is_asked_for(name: str, value: Any) -> None:
    given = alone()
    load("alone_table").check(given)
    with pytest.raises(load("commands").CommandRejected, match=name):
        load("alone_table").check({**given, name: value})
    del given[name]
    with pytest.raises(load("commands").CommandRejected, match=name):
        load("alone_table").check(given)


@pytest.mark.parametrize("version", [None, 1, 3])
def test_a_table_of_another_version_is_refused_kept_out_and_shown(version: int | None) -> None:
    """After an update the numbers may mean something else: the board says so on its LED and to the host, and goes on answering."""
    old = {**alone(), "version": version}
    board = ScriptedBoard({"alone": old}, captures=Captures())
    board.clock.now_us += 6_000_000
    board.steps()
    assert board.app.state == "idle"
    assert board.app.parts.lamp.shown == (load("lamp").ERROR, True)
    board.send(wire.IDENTIFY)
    identity = [table(f) for f in board.steps() if f.kind == wire.IDENTITY][-1]
    assert "version" in identity["alone_error"]
    reply = board.ask(wire.ARM, {"alone": old})
    assert not reply["ok"]
    assert board.ask(wire.ARM, {"alone": alone()})["ok"]


def test_the_table_is_kept_before_the_acquisition_starts() -> None:
    """Erasing flash holds interrupts off: a start right after telling would have a hole."""
    board = ScriptedBoard(captures=Captures())
    order: list[str] = []
    store, acquire = board.app.parts.store, board.app.parts.acquisition
    save = store.save

    def saving(name: str, content: object) -> None:
        order.append(name)
        save(name, content)

    def acquiring(config: dict[str, Any]) -> object:
        order.append("acquisition")
        return acquire(config)

    store.save, board.app.parts.acquisition = saving, acquiring
    assert board.ask(wire.ARM, {"alone": alone()})["ok"]
    assert order == ["alone", "journal", "acquisition"]


def test_a_table_that_cannot_be_followed_is_not_kept() -> None:
    board = ScriptedBoard({"alone": None}, captures=Captures())
    board.refuses = load("commands").CommandRejected("no such thing")
    assert not board.ask(wire.ARM, {"alone": alone()})["ok"]
    assert board.app.parts.store.load("alone") is None
    assert board.app.state == "idle"


# --- restarts ------------------------------------------------------------------------------------------------


def test_a_restart_while_waiting_is_told_with_its_cause_until_the_host_has_it() -> None:
    store = Store()
    journal = load("journal").Journal(store, "the supply was switched on or fell too low")
    assert journal.report({}) == {}
    journal.begins("alone")
    for cause in ("the program hung", "the program hung", "the reset pin"):
        journal = load("journal").Journal(store, cause)
        assert journal.waiting == "alone"
        journal.begins("alone")
    assert journal.report({}) == {"waits": 4, "restarts": 3, "causes": {"the program hung": 2, "the reset pin": 1}}
    journal.ends()
    assert load("journal").Journal(store, "any").report({})["restarts"] == 3
    journal.forget()
    assert load("journal").Journal(store, "any").report({}) == {}


def test_a_flash_that_is_full_does_not_keep_the_board_from_waiting() -> None:
    class Full(Store):
        def save(self, name: str, table: Any) -> None:
            raise OSError(28)

    load("journal").Journal(Full(), "any").begins("alone")


def test_the_journal_goes_to_the_host_and_is_forgotten_when_told() -> None:
    board = ScriptedBoard({"journal": {"waiting": "alone", "waits": 1}}, captures=Captures())
    assert board.ask(wire.CAPTURES, {"do": "list"})["journal"] == {"waits": 1, "restarts": 1, "causes": {"unknown": 1}}
    assert board.ask(wire.CAPTURES, {"do": "shown"})["ok"]
    assert board.ask(wire.CAPTURES, {"do": "list"})["journal"] == {}


# --- leads, acquisitions, losses of the feed ------------------------------------------------------------------


def test_leads_in_any_order_are_taken_in_the_converters() -> None:
    named = [{"role": "key_switch", "pin": 27}, {"role": "battery", "pin": 28}, {"role": "starter_coil", "pin": 26}]
    board = ScriptedBoard()
    assert board.ask(wire.CONFIGURE, {"channels": named})["ok"]
    assert [c["pin"] for c in board.app.config["channels"]] == [26, 27, 28]
    assert (board.app.config["key_channel"], board.app.config["battery_channel"]) == (1, 2)
    reply = board.ask(wire.CONFIGURE, {"channels": [named[0], {**named[1], "pin": 27}]})
    assert not reply["ok"]
    assert "twice" in reply["why"]


def test_a_feed_that_chatters_for_hours_keeps_the_first_and_the_worst() -> None:
    """20,000 losses of 60 us, one of 9 ms among them: neither the first nor the long one is forgotten."""
    feed = load("feed_watch").FeedWatch(
        {"off16": 1000, "live16": 1500, "minimum_pass16": 2000, "bounce_us": 20000, "ratio4096": 4096, "offset16": 0}
    )
    samples, span_us = 128, 24576
    for n in range(20_000):
        length = 47 if n == 13_000 else 1
        at_us = 1_000_000 + n * 2 * span_us
        feed.bin("run", at_us, at_us, 30000, 29000, 300, (length, 0, 0), span_us, samples)
        feed.bin("run", at_us + span_us, at_us + span_us, 30000, 29000, 1800, (0, 0, 0), span_us, samples)
    assert feed.too_many
    assert len(feed.dropouts) == load("feed_watch").MOST_DROPOUTS
    report = feed.report()
    assert report["losses"] == 20_000
    assert report["first_loss"][0] < 1_000_000 + span_us
    assert report["longest_loss"][1] == span_us * 47 // samples
    assert feed.dropouts == sorted(feed.dropouts)


@pytest.mark.parametrize(
    ("free", "edges", "least_ring"),
    [(237_000, 4, 62_000), (225_100, 4, 48_000), (196_000, 2, 40_000), (170_000, 2, 32_000)],
)
def test_buffers_go_by_the_free_heap(free: int, edges: int, least_ring: int) -> None:
    arena = load("arena")
    sizes = arena.plan(free)
    assert sizes["close_ups"] == edges * arena.WINDOW
    assert sizes["bins"] >= least_ring
    word_bytes = 4 * (sizes["headers"] + arena.MOST["segments"])
    assert sizes["bins"] + sizes["close_ups"] + word_bytes + arena.PROGRAM + arena.LEAST_SPARE <= free


def test_a_heap_that_is_too_small_is_told_in_bytes() -> None:
    arena = load("arena")
    assert arena.plan(arena.least_free()) is not None
    assert arena.plan(arena.least_free() - 1000) is None


def test_the_link_is_tried_with_as_much_as_was_asked_for() -> None:
    board = ScriptedBoard()
    board.steps()
    board.send(wire.SELF_CHECK, {"link_bytes": 9000})
    frames = [f for f in board.steps(40) if f.kind == wire.CHECK]
    assert table(frames[-1]) == {"last": True}
    assert sum(len(f.body) for f in frames[:-1]) >= 9000
