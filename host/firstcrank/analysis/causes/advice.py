"""What to check next for each cause, with its caution beside it: one place for every text that sends a person to the vehicle.

Common practice, no single source, unless a figure names one: 9.6 V and half the cold-cranking amperes for 15 s (several service
manuals), cables 0.2 V and clamps 0.0 V (NAVEDTRA 14050), 2.2 ohm and 50 mOhm (a published installation manual, 1200F series, p. 36
and 40). The engine maker's instructions win.
"""

from __future__ import annotations

STARTS = (
    "Treat it as a start: neutral, brake on, wheels chocked, nobody near belts, fan or shafts, a second person watching, air shut-off "
    "plate ready"
)
DISABLED = (
    "starter disabled: key off, wait the module's power-down time, battery negative off first, the small S wire (50) off the solenoid, "
    "insulated (it is live in START) and tied back, negative on again"
)
UNPLUG = "Key off, wait the module's power-down time, battery negative off before any plug or stud is touched"
HOT = "The heater carries 100 A and glows: no rings or watch, 10 s at most"
NEVER_TO_START = "Never the START terminal: it would feed the starter back"

ADVICE: dict[str, str] = {
    "feed_dead_in_start": (
        f"With the {DISABLED}. Module plugged in, START held for 3 s: meter from the switch's feed terminal to the battery's negative "
        "post. 0 V: that terminal is not made in START. Volts missing: a worn contact. Use a terminal proved live in ON and in START, or "
        f"a relay drawn by a competent person. {NEVER_TO_START}. It is not fuel priming."
    ),
    "feed_from_start_terminal": (
        "Key ON only, never START for this check: 0 V at the module's plug proves it. Move the feed to a terminal proved live in ON and "
        f"in START. {NEVER_TO_START}."
    ),
    "feed_lost_at_turn": (
        f"With the {DISABLED}. Module plugged in, turn slowly ON, START, ON with the board recording; a meter is too slow. Replace the "
        "switch, or feed a relay from ON and START, drawn by a competent person."
    ),
    "feed_relay": (
        "Key ON: across the relay's coil within 0.5 V of the battery, its ground side under 0.1 V. Try a known relay of the same terminal "
        f"pattern, then crank, leads clipped on first. The engine may start. {STARTS}."
    ),
    "feed_loose": (
        "Key ON, engine off, board watching: move each joint, fuse holder, the switch's plug, the harness; last of all the module's plug "
        "by its cable, never unplugged. An electric fan may start. Pull-test the crimps with the key off."
    ),
    "feed_ballast": (
        "Key ON: meter from the battery's post to each end of the feed wire; the step is the resistor. Feed from a terminal proved live "
        f"in ON and in START, not simply the one before the resistor: that may be dead in START. Prove START with the {DISABLED}."
    ),
    "feed_resistance": (
        "Key ON, module plugged in: meter from the battery's post to switch in, switch out, both sides of the fuse, each connector. More "
        "than 0.1 V across one is the place. Back-probe; do not pierce."
    ),
    "fuse_or_link": (
        "Is the lead on? Key ON: both sides of the fuse to the negative post. Open: find the short first, a 21 W lamp in the fuse's place "
        "(bright is short); key off to change it, never a larger fuse."
    ),
    "battery_weak": (
        "Charge, rest an hour, load-test at half the cold-cranking amperes for 15 s: 9.6 V at 20 °C; goggles, gas, load off before the "
        f"clamps. If it holds, clamp meter on the starter cable while cranking. {STARTS}."
    ),
    "battery_cable": (
        "Leads clipped on, hands off the stud, a second person cranks 5 s: positive post to its clamp (0.0 V), clamp to the starter's stud "
        f"(0.2 V). Clean and tighten, then take the feed from a good point. The engine may start. {STARTS}."
    ),
    "ground_path": (
        "Leads clipped on, a second person cranks 5 s: negative post to the block, then to the module's ground pin. Block over 0.2 V: the "
        "strap. Only at the module: its own ground wire. A strap in doubt is proved with board and laptop off, meter only. The engine may "
        f"start. {STARTS}."
    ),
    "starter_control_drop": (
        "Leads clipped on, stand clear, a second person holds START 2 s: positive post to the S terminal (50), case to the negative post, "
        f"then back along switch, interlock and relay. The starter turns beside the meter; never bridge the solenoid. {STARTS}."
    ),
    "heater_reversed": (
        "KEY OFF. Heater link out. Check both small wires to their own pins, coil ohms against the maker's figure, the diode's direction "
        "with a 9 V cell and 10 ohm; an ohm or diode range can't show an open diode. Replace the solenoid unless both are clearly good; "
        f"test its fuse and driver before power. Do not energise it to prove it. {UNPLUG}."
    ),
    "heater_feed_low": (
        "Engine cold, key ON, at most 10 s: positive post to the coil's plus, coil's minus to the negative post; then across the main "
        f"studs. {HOT}."
    ),
    "heater_loose": (
        f"{UNPLUG}: torque and tug each joint, the fuse holder, the plug; then key ON, cold, and watch the coil's voltage while somebody "
        f"else moves the harness away from the studs. {HOT}."
    ),
    "backfeed_after_off": (
        "Engine stopped by itself (else the air plate), key off: unplug and insulate the alternator's lamp lead, start, key off. Stops "
        "clean: a diode or a feed of its own, drawn by a competent person; else circuit by circuit. Never unplug an alternator lead "
        f"running. {STARTS}."
    ),
    "module_supply_drop": (
        f"{UNPLUG}; module unplugged, negative on again: 2.2 ohm 200 W (24 V: 4.7 ohm) for 3 s at the plug's right mating terminals, "
        "no fat probes; the resistor burns. Volts along supply and ground; over 50 mohm (24 V: 100) is the fault."
    ),
    "no_charge": (
        "Oil pressure seen, idle then fast idle, heater finished, clear of the belts: B+ and battery to the negative post. B+ low: lamp "
        "lead, belt, field. B+ high and battery low: the cable or its fuse. No battery or alternator lead comes off a running engine."
    ),
    "slow_crank": (
        "No more cranking before it bars free: battery negative off, turn it over two turns by hand, never force. Then, leads clipped on, "
        f"battery and starter stud volts and clamp current in one 5 s crank; oil grade. {STARTS}."
    ),
    "uneven_compression": (
        "A hint and no measurement: valve clearance, then the maker's compression or leak-down test with injection disabled the maker's "
        "way. Glow-plug and injector ports throw hard; nobody else at the key."
    ),
}
