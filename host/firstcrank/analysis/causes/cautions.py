"""The standing cautions K1 to K6, shown in full beside every check that needs them.

Common practice, no single source; the wait of 60 s is for a module whose power-down time is not known, 90 s at the injection lines
stands in one published manual. The engine maker's figures win.
"""

from __future__ import annotations

STANDING: dict[str, str] = {
    "K1": (
        "Every turn to START may start the engine: neutral or park, brake on, wheels chocked, nobody near belts, fan or shafts, a second "
        "person watching, air shut-off plate ready. Electric fans can start with the key off."
    ),
    "K2": (
        "Starter disabled: key off, wait the module's power-down time, battery negative off first, the small S wire (50) off the "
        "solenoid, insulated (it is live in START) and tied back, negative on again; or the starter relay pulled. Not on a "
        "module-controlled starter unless its maker says how."
    ),
    "K3": (
        "Before any module plug, heater stud or sensor: key off, wait the module's power-down time (60 s where unknown), battery "
        "negative off."
    ),
    "K4": (
        "Never loosen a high-pressure fuel line to bleed a common-rail engine, never search leaks by hand: injected fuel is a surgical "
        "emergency. No look at the lines while cranking; wait 90 s after stopping."
    ),
    "K5": (
        "The heater carries 100 A and glows, studs too: no rings or watch, commanded 10 s at most for a test, no starting fluid, ever."
    ),
    "K6": "Current is measured with a clamp, never through a meter's 10 A socket where the circuit can crank, heat or wake.",
}


def in_full(keys: tuple[str, ...], own: str = "") -> tuple[str, ...]:
    """The standing cautions of these keys and a caution of the check's own, in this order. Raises KeyError for an unknown key."""
    return (*((own,) if own else ()), *(STANDING[key] for key in keys))
