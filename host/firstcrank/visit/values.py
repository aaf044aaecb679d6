"""What a visit is made of: events in, a state, what to show out. All frozen; seconds and volts."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal


class Word(StrEnum):
    """The one large word for the person at the key."""

    KEY_OFF = "KEY OFF"
    KEY_ON = "KEY ON"
    WAIT = "WAIT"
    CRANK = "CRANK"
    LET_GO = "LET GO"
    REST = "REST"
    SHUT_AIR = "SHUT AIR"
    START = "START"  # the switch test's: no engine turns
    OIL = "OIL"
    IDLE = "IDLE"
    DONE = "DONE"


class Stage(StrEnum):
    """Where a guided start is."""

    SEE_OFF = "key off"
    SEE_ON = "key on"
    WAIT_LAMP = "wait lamp"
    READY = "ready to crank"
    CRANKING = "cranking"
    REST = "rest"
    OIL = "oil pressure"
    IDLE = "idle and charging"
    OFF_AFTER = "key off after running"
    SOAK = "hot restart"
    OVER = "over"


MAKERS_RANGES_S = {"starter_on_s": (1.0, 60.0), "rest_s": (5.0, 1800.0), "power_down_s": (0.0, 3600.0), "oil_s": (1.0, 60.0)}
Fault = Literal["", "runaway", "no oil pressure"]


@dataclass(frozen=True, slots=True)
class MakersLimits:
    """The engine maker's figures; what is None was not given and the default of common practice stands.

    `starter_on_s`, `rest_s` of the starter; `power_down_s` of the module after key off; `oil_s` until oil pressure shows.
    """

    starter_on_s: float | None = None
    rest_s: float | None = None
    power_down_s: float | None = None
    oil_s: float | None = None

    def __post_init__(self) -> None:
        for name, (low_s, high_s) in MAKERS_RANGES_S.items():
            value = getattr(self, name)
            if value is not None and not low_s <= value <= high_s:
                raise ValueError(f"{name} is {value:g} s, must be {low_s:g} to {high_s:g} s")


@dataclass(frozen=True, slots=True)
class Bins:
    """The newest readings. `now_s` is the recording's own time, `lowest_v` the feed's lowest reading in these bins.

    `state` is the tracker's; `crank_s` how long the engine has been cranked, `missing` what a PASS still lacks (the judge's own
    list), `wait_s` how much longer watching can bring some of it, `running` that the engine was seen to run by itself, `bridged` that
    it was turned without the starter lead going live, `unproved` what no further watching or cranking can prove in this recording any
    more (the key feed never seen off, or not up before the crank); empty where all can be.
    """

    now_s: float
    battery_v: float
    feed_v: float
    lowest_v: float
    state: str
    crank_s: float = 0.0
    missing: tuple[str, ...] = ()
    wait_s: float = 0.0
    running: bool = False
    feed_good: bool = True
    bridged: bool = False
    unproved: str = ""


@dataclass(frozen=True, slots=True)
class Key:
    """A key pressed at the laptop."""

    letter: str
    now_s: float


@dataclass(frozen=True, slots=True)
class Leads:
    """What is wrong with the leads; empty where nothing is."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Clock:
    """Time goes on without readings, seconds of the recording."""

    now_s: float


Event = Bins | Key | Leads | Clock


@dataclass(frozen=True, slots=True)
class Burst:
    """One crank: how long, whether the feed held in it, whether the engine ran by itself."""

    start_s: float
    lasted_s: float
    feed_held: bool
    ran: bool


@dataclass(frozen=True, slots=True)
class Visit:
    """Everything that a face needs to go on showing a start, and what the report tells afterwards.

    `patience_s`: so long without a crank ends it. `attended`: somebody can answer; else it ends after the first burst. `skipped` are
    steps that were left out, `noted` what was done out of order. `cold_bursts`: how many bursts came before the hot restart; None
    before it. `ending` and `ending_since_s`: it was asked to end and goes on only for `wait_s`, which the verdict still needs.
    `fault`: what ends it with KEY OFF and no further crank; `fault_s` since when, `air` while a runaway is not over. `exchanged`: battery
    and key lead look exchanged. `wait_lamp`: the engine has one, `cycled`: it was asked for again with the key turned off and on.
    """

    makers: MakersLimits = MakersLimits()
    guided: bool = False
    attended: bool = True
    patience_s: float = 600.0
    feed_off_v: float = 2.0
    feed_live_v: float = 5.0
    stage: Stage = Stage.SEE_OFF
    since_s: float = 0.0
    now_s: float = 0.0
    battery_v: float = 0.0
    feed_v: float = 0.0
    lowest_v: float | None = None
    crank_from_s: float = 0.0
    rest_until_s: float = 0.0
    bursts: tuple[Burst, ...] = ()
    cold_bursts: int | None = None
    hot_from_s: float = 0.0
    feed_dead: bool = False
    dead_since_s: float | None = None
    ran: bool = False
    bridged_s: float | None = None
    air: bool = False
    fault: Fault = ""
    fault_s: float = 0.0
    exchanged: bool = False
    unproved: str = ""
    wait_lamp: bool = True
    cycled: bool = False
    leads: tuple[str, ...] = ()
    leads_seen: bool = False
    key_proved: bool = False
    missing: tuple[str, ...] = ()
    wait_s: float = 0.0
    ending: str = ""
    ending_since_s: float = 0.0
    skipped: tuple[str, ...] = ()
    noted: tuple[str, ...] = ()
    answered: tuple[str, ...] = ()
    why: str = ""

    @property
    def bursts_now(self) -> tuple[Burst, ...]:
        """The bursts of this start: the cold one, or the hot restart."""
        return self.bursts[self.cold_bursts or 0 :]


@dataclass(frozen=True, slots=True)
class Show:
    """What a face shows: one large word, a line under it, further lines, a timer, the keys that do something.

    `bell`: the word differs from the one before, or something must be heard. `countdown_s` counts to zero, `count_s` upwards.
    """

    word: Word
    line: str
    lines: tuple[str, ...] = ()
    keys: tuple[tuple[str, str], ...] = ()
    count_s: float | None = None
    countdown_s: float | None = None
    warning: bool = False
    fields: tuple[tuple[str, str], ...] = field(default=())
