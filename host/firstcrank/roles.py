"""What a lead of the board can be clipped to: the one list, read by the host and, this very file, by the board.

Runs on CPython and MicroPython. It is kept short because the board's memory is; what only the host wants to know of a role (its
name on screen, its line in a plot) stands in role_properties.py. A role's bit in a set of roles is its place in the list.
"""

ROLES = (
    "battery",  # the post that everything is measured against
    "feed_source",  # the post that supplies the key switch, where that is another battery or tap
    "key_switch",  # probed at the module's plug, after the fuse
    "starter_coil",  # the starter solenoid's own terminal, DIN 72552 terminal 50
    "heater_coil",
    "heater_return",
    "module_supply",
    "module_ground",
    "engine_ground",
)
REQUIRED_ROLES = ("battery", "key_switch")  # without these there is no verdict
