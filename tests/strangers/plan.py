"""What is drawn before anything is computed: battery, engine, loads, key, feed circuit, faults, and how it is recorded.

A family changes the plan; `world.py` computes what then happened, `board.py` and `logger.py` what a recorder saw of it.
All times in seconds on the world's clock (the recording begins at `record.begin_s`), all values in SI units.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

OFF, ON, START = "OFF", "ON", "START"


@dataclass(slots=True)
class BatteryPlan:
    """Open-circuit volts, ohmic resistance, and two polarisations (ohm, seconds) that build up and fade alike."""

    open_v: float
    r0_ohm: float
    polar_ohm: tuple[float, float]
    polar_s: tuple[float, float]
    charge_factor: float  # polarisation per ampere is this much larger while charging


@dataclass(slots=True)
class EnginePlan:
    """Starter and engine, reduced to the crankshaft. Speeds in rpm, `crank_a` the mean current at `crank_rpm`."""

    cylinders: int
    crank_rpm: float
    crank_a: float
    stall_a: float
    rise_s: float  # inrush: time constant of the starter's current
    mech_s: float  # mechanical time constant of starter and engine together
    comp_depth: float  # compression torque's amplitude over the mean torque
    weak: tuple[float, ...]  # compression of each cylinder, 1 is sound
    free_a: float  # starter running free behind its overrunning clutch
    idle_rpm: float
    phase: float  # where in a compression the engine stood


@dataclass(slots=True)
class CrankPlan:
    """One turn of the key to START. `fires_s` after the crank begins, None where it does not fire."""

    key_start_s: float
    key_end_s: float
    fires_s: float | None = None
    run_up_s: float = 0.4
    stalls_s: float | None = None  # after the release the engine dies again
    relay_s: float = 0.01  # key to S terminal, and back
    plunge_s: float = 0.03  # S terminal to main contacts
    drop_out_s: float = 0.012  # S terminal dead to main contacts open
    bog: tuple[float, float, float] | None = None  # from, to (after crank begin), torque factor
    locked_out: bool = False  # START reaches neither solenoid nor starter
    no_turn: bool = False  # the solenoid is live, the starter does not get current
    remote: bool = False  # cranked past the key: START of the key is never used
    bridged: bool = False  # main contacts bridged: the S terminal stays dead

    @property
    def begin_s(self) -> float:
        """When the starter's main contacts close."""
        return self.key_start_s + self.relay_s + self.plunge_s

    @property
    def end_s(self) -> float:
        """When they open."""
        return self.key_end_s + self.relay_s + self.drop_out_s


@dataclass(slots=True)
class Load:
    """A load across the battery, as its current at `volts`; lamps and motors draw `inrush` times that at first."""

    on_s: float
    off_s: float
    amps: float
    inrush: float = 1.0
    inrush_s: float = 0.05
    ripple: float = 0.0
    ripple_hz: float = 0.0
    what: str = "load"


@dataclass(slots=True)
class Helper:
    """A charger or jump pack: a voltage behind a resistance, one-way, clipped on from `on_s` to `off_s`."""

    on_s: float
    off_s: float
    volts: float
    ohm: float
    what: str = "charger"


@dataclass(slots=True)
class AlternatorPlan:
    """Nothing until `delay_s` after the engine runs, then up to `max_a` within `build_s`, held at `set_v`."""

    delay_s: float
    build_s: float
    max_a: float
    set_v: float


@dataclass(slots=True)
class Cut:
    """The feed's way is open from `begin_s` to `end_s`."""

    begin_s: float
    end_s: float


@dataclass(slots=True)
class Drop:
    """`volts` lost on the feed's way from `begin_s` to `end_s`, with edges of `edge_s`.

    `share` of the source instead of `volts` where it is above 0; `to_v` brings the feed down to a voltage, whatever the source.
    """

    begin_s: float
    end_s: float
    volts: float = 0.0
    edge_s: float = 0.0005
    share: float = 0.0
    to_v: float | None = None
    sink_s: float = 0.0  # reached exponentially with this time constant


@dataclass(slots=True)
class FeedPlan:
    """The key feed: wire, contact, module input.

    `decay_s` is the time constant with the contact open (module input capacitor over its load and what else hangs on the wire),
    `charge_s` with the contact closed. `source` is "post" or "stud" (a tap on the starter's cable, `stud_ohm` from the post).
    """

    wire_ohm: float
    amps: float
    charge_s: float
    decay_s: float
    source: str = "post"
    stud_ohm: float = 0.0
    loaded: bool = False
    live_in: tuple[str, ...] = (ON, START)
    relay: RelayPlan | None = None
    backfeed: Backfeed | None = None
    cuts: list[Cut] = field(default_factory=list)
    drops: list[Drop] = field(default_factory=list)


@dataclass(slots=True)
class RelayPlan:
    """A relay between battery and module, its coil on the key. `hold_v` is the least coil voltage that keeps it in."""

    pull_v: float
    hold_v: float
    coil_s: float
    operate_s: float
    release_s: float
    bounces: int = 3


@dataclass(slots=True)
class Backfeed:
    """Voltage that reaches the feed with the key off: `share` of the battery from `after_s` behind a key-off to `until_s`."""

    share: float
    until_s: float
    only: int | None = None  # number of the key-off it follows, None all of them


@dataclass(slots=True)
class ModulePlan:
    """The engine module's own supply and ground: resistances, its current asleep, in ON, in START."""

    supply_ohm: float
    ground_ohm: float
    amps: float
    strap_ohm: float  # engine block to battery negative post
    shared_ohm: float  # part of the module's ground that carries starter current
    supply_faults: list[Drop] = field(default_factory=list)
    ground_faults: list[Drop] = field(default_factory=list)


@dataclass(slots=True)
class Recording:
    """How it is recorded. `delivery` "board", "frames" or "csv"; `tricks` are what goes wrong with the evidence."""

    begin_s: float
    end_s: float
    delivery: str = "board"
    rate_hz: float = 5000.0
    leads: tuple[str, ...] = ("battery", "key_switch", "starter_coil")
    tricks: dict[str, Any] = field(default_factory=dict)
    answers: dict[str, Any] = field(default_factory=dict)


@dataclass(slots=True)
class Plan:
    """Everything about one start."""

    seed: int
    family: str
    system_v: int
    battery: BatteryPlan
    engine: EnginePlan
    cranks: list[CrankPlan]
    key: list[tuple[float, str]]  # (time, position it moves to), first from OFF
    feed: FeedPlan
    module: ModulePlan
    alternator: AlternatorPlan | None
    record: Recording
    loads: list[Load] = field(default_factory=list)
    helpers: list[Helper] = field(default_factory=list)
    heater_reversed: bool = False
    heater_drop_v: float = 0.0
    coil_drop_v: float = 0.4
    culprits: set[str] = field(default_factory=set)  # what a family did, by its own words
    labels: dict[str, Any] = field(default_factory=dict)  # figures of the draw worth showing

    @property
    def scale(self) -> float:
        """1 at 12 V, 2 at 24 V."""
        return self.system_v / 12.0

    def borders(self) -> dict[str, float]:
        """Moments at which something changes, by name; names of later cranks end in their number."""
        out: dict[str, float] = {}
        offs = 0
        ons = 0
        for t, position in self.key:
            if position == OFF:
                out["key_off" if offs == 0 else f"key_off{offs + 1}"] = t
                offs += 1
            elif position == ON and (not out or (offs and f"key_on{ons + 1}" not in out and self._before(t) == OFF)):
                out["key_on" if ons == 0 else f"key_on{ons + 1}"] = t
                ons += 1
        for n, c in enumerate(self.cranks):
            tail = "" if n == 0 else str(n + 1)
            out["start" + tail] = c.key_start_s
            out["crank_begin" + tail] = c.begin_s
            out["release" + tail] = c.key_end_s
            out["crank_end" + tail] = c.end_s
        return out

    def _before(self, t: float) -> str:
        position = OFF
        for at, to in self.key:
            if at >= t:
                break
            position = to
        return position
