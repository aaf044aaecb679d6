"""What to check where it cranks, the key feed holds and the engine does not fire, in order."""

from __future__ import annotations

# Common practice, no single source; "no smoke means no fuel" stands in published manuals.
ONLY_THE_FEED = "PASS says only that the key feed held. No smoke while cranking: no fuel is delivered. In this order:"
NO_FIRE = (
    "1. Codes and immobiliser: read them, the lamp's message.",
    "2. Engine speed seen by the module while cranking (crank sensor).",
    "3. Rail pressure rises while cranking, by the maker's figure.",
    "4. Low-pressure supply and air in it: clear hose, suction side.",
    "5. Module supply and ground while cranking (leads module_supply and module_ground).",
    "6. WAIT lamp's cycle: cranked at once when it went out?",
    "7. Compression.",
)
