"""The LED's patterns: told apart by rhythm alone, and played as written."""

from __future__ import annotations

from itertools import combinations

from firstcrank_sim.board.firmware_program import load

lamp = load("lamp")


class Pin:
    """Remembers what it was told and when."""

    def __init__(self, clock: Clock) -> None:
        self.clock, self.changes = clock, [(0, 0)]

    def value(self, on: int) -> None:
        if self.changes[-1][1] != on:
            self.changes.append((self.clock.now_us, on))


class Clock:
    """Board time that the test moves."""

    now_us = 0

    def ticks_us(self) -> int:
        return self.now_us & 0x3FFFFFFF

    @staticmethod
    def ticks_diff(a: int, b: int) -> int:
        return ((a - b + (1 << 29)) & 0x3FFFFFFF) - (1 << 29)


def played(name: str, seconds: float, kept: bool = True, from_us: int = 0) -> list[tuple[int, int]]:
    """(ms since the start, on or off) of every change."""
    clock = Clock()
    clock.now_us = from_us
    pin = Pin(clock)
    shown = lamp.Lamp(pin, clock)
    shown.show(name, kept)
    for _ in range(round(seconds * 1000)):
        clock.now_us += 1000
        shown.tick()
    return [((at - from_us) // 1000, on) for at, on in pin.changes[1:]]


def test_a_pattern_is_played_over_and_over() -> None:
    assert played("FAIL", 3.15) == [
        (0, 1), (120, 0), (260, 1), (380, 0), (520, 1), (640, 0),
        (1540, 1), (1660, 0), (1800, 1), (1920, 0), (2060, 1), (2180, 0), (3080, 1),
    ]  # fmt: skip
    assert played("cranking", 2.0) == [(0, 1)]


def test_it_goes_on_when_the_boards_ticks_wrap() -> None:
    assert played("PASS", 5.0, from_us=(1 << 30) - 1_000_000) == played("PASS", 5.0)


def test_what_was_not_kept_shows_behind_the_outcome() -> None:
    usual, with_blips = played("PASS", 4.0), played("PASS", 6.0, kept=False)
    assert usual[:2] == with_blips[:2]
    assert len(with_blips) > len(usual) + 6


def test_the_outcomes_differ_in_rhythm_alone() -> None:
    def rhythm(name: str) -> tuple[int, float]:
        times = [ms for ms in lamp.PATTERNS[name] if ms]
        return len(times), round(sum(times[::2]) / sum(times), 1)

    names = ("PASS", "FAIL", "NO VERDICT", "waiting", "ready", "keeping", "cranking")
    for a, b in combinations(names, 2):
        assert rhythm(a) != rhythm(b), (a, b)
