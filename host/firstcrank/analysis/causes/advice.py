"""What to check next for each cause, with its cautions beside it: one place for every text that sends a person to the vehicle.

Common practice, no single source, unless a figure names one: 9.6 V and half the cold-cranking amperes for 15 s (several service
manuals), cables 0.2 V and clamps 0.0 V (NAVEDTRA 14050), 2.2 ohm and 50 mOhm (a published installation manual, 1200F series, p. 36
and 40). The engine maker's instructions win.
"""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.analysis.causes.cautions import in_full

NEVER_TO_START = "Never the START terminal: it would feed the starter back."
BY_COMPETENT = "drawn by a competent person"


@dataclass(frozen=True, slots=True)
class Advice:
    """One check with a meter. `standing` names the standing cautions that it needs, `own` is the caution of this check alone."""

    check: str
    standing: tuple[str, ...] = ()
    own: str = ""

    @property
    def cautions(self) -> tuple[str, ...]:
        """All in full."""
        return in_full(self.standing, self.own)


ADVICE: dict[str, Advice] = {
    "feed_dead_in_start": Advice(
        "Starter disabled, module plugged in, START held 3 s: meter from the switch's feed terminal to the minus post. 0 V: that terminal "
        "is not made in START; volts missing: a worn contact. Use a terminal proved live in ON and in START, or a relay "
        f"{BY_COMPETENT}. It is not fuel priming.",
        ("K1", "K2"),
        NEVER_TO_START,
    ),
    "feed_from_start_terminal": Advice(
        "Key ON only: 0 V at the module's plug proves it. Move the feed to a terminal proved live in ON and in START by the switch test.",
        ("K2",),
        "No START for this check; the starter is disabled before the switch test. " + NEVER_TO_START,
    ),
    "feed_lost_at_turn": Advice(
        "Starter disabled, module plugged in: turn slowly ON, START, ON with the board recording; a meter is too slow. Replace the "
        f"switch, or feed a relay from ON and START, {BY_COMPETENT}.",
        ("K1", "K2"),
    ),
    "feed_relay": Advice(
        "Key ON: across the relay's coil within 0.5 V of the battery, its ground side under 0.1 V. Try a known relay of the same terminal "
        "pattern, then crank, leads clipped on first.",
        ("K1",),
        "The engine may start; the relay is hot, a coil diode has a polarity.",
    ),
    "feed_loose": Advice(
        "Key ON, engine off, board watching: move each joint, fuse holder, the switch's plug, the harness; last of all the module's plug "
        "by its cable, never unplugged. Pull-test the crimps with the key off.",
        ("K3",),
        "An electric fan may start.",
    ),
    "feed_ballast": Advice(
        "Key ON: meter from the battery's post to each end of the feed wire; the step is the resistor. Feed from a terminal proved live "
        "in ON and in START, not simply the one before the resistor: that may be dead in START. Prove START with the starter disabled.",
        ("K1", "K2"),
    ),
    "feed_resistance": Advice(
        "Key ON, module plugged in: meter from the battery's post to switch in, switch out, both sides of the fuse, each connector. More "
        "than 0.1 V across one is the place.",
        (),
        "Back-probe; do not pierce.",
    ),
    "fuse_or_link": Advice(
        "Is the lead on? Key ON: both sides of the fuse to the minus post. Open: find the short first, a 21 W lamp in the fuse's place "
        "(bright is a short).",
        (),
        "Never a larger fuse; key off to change it.",
    ),
    "battery_weak": Advice(
        "Charge, rest an hour, load-test at half the cold-cranking amperes for 15 s: 9.6 V at 20 °C. If it holds, clamp meter on the "
        "starter cable while cranking.",
        ("K1", "K6"),
        "Goggles, gas; load off before the clamps.",
    ),
    "battery_cable": Advice(
        "Leads clipped on, a second person cranks 5 s: plus post to its clamp (0.0 V), clamp to the starter's stud (0.2 V). Clean and "
        "tighten, then take the feed from a good point.",
        ("K1",),
        "The engine may start; hands off the stud.",
    ),
    "ground_path": Advice(
        "Leads clipped on, a second person cranks 5 s: minus post to the block, then to the module's ground pin. Block over 0.2 V: the "
        "strap; only at the module: its own ground wire. Doubtful from 0.2 V, a fault at 0.5 V.",
        ("K1",),
        "The engine may start; a strap in doubt is proved first with board and laptop off, meter only.",
    ),
    "starter_control_drop": Advice(
        "Leads clipped on, stand clear, a second person holds START 2 s: plus post to the S terminal (50), case to the minus post, then "
        "back along switch, interlock and relay.",
        ("K1",),
        "The starter turns beside the meter; never bridge the solenoid.",
    ),
    "heater_reversed": Advice(
        "KEY OFF. Heater link out. Check both small wires to their own pins, coil ohms against the maker's figure, the diode's direction "
        "with a 9 V cell and 10 ohm; an ohm or diode range can't show an open diode. Replace the solenoid unless both are clearly good; "
        "test its fuse and driver before power.",
        ("K3",),
        "Do not energise it to prove it.",
    ),
    "heater_feed_low": Advice(
        "Engine cold, key ON, at most 10 s: plus post to the coil's plus, coil's minus to the minus post; then across the main studs.",
        ("K5",),
    ),
    "heater_loose": Advice(
        "Battery off: torque and tug each joint, the fuse holder, the plug; then key ON, cold, and watch the coil's voltage while "
        "somebody else moves the harness away from the studs.",
        ("K3", "K5"),
    ),
    "backfeed_after_off": Advice(
        "Engine stopped by itself (else the air plate), key off: unplug and insulate the alternator's lamp lead, start, key off. Stops "
        f"clean: a diode or a feed of its own, {BY_COMPETENT}; else circuit by circuit.",
        ("K1",),
        "Never unplug an alternator lead running.",
    ),
    "module_supply_drop": Advice(
        "Module unplugged, negative on again: 2.2 ohm 200 W (24 V: 4.7 ohm) for 3 s at the plug; volts along supply and ground. Over "
        "50 mohm (24 V: 100) is the fault.",
        ("K3",),
        "The resistor burns; right mating terminals, no fat probes.",
    ),
    "no_charge": Advice(
        "Idle then fast idle, heater finished: B+ and battery to the minus post. B+ low: lamp lead, belt, field. B+ high and battery low: "
        "the cable or its fuse.",
        (),
        "Oil pressure seen first; clear of the belts; no battery or alternator lead comes off a running engine.",
    ),
    "slow_crank": Advice(
        "First bar it over two turns by hand, never force. Then, leads clipped on, battery and starter stud volts and clamp current in "
        "one 5 s crank. Oil grade.",
        ("K1", "K6"),
        "No more cranking before it bars free; battery negative off to bar it.",
    ),
    "uneven_compression": Advice(
        "Valve clearance, then the maker's compression or leak-down test with injection disabled the maker's way. A hint and no "
        "measurement.",
        ("K4",),
        "Glow-plug and injector ports throw hard; no key to START by others.",
    ),
}
