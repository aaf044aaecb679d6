"""One visit to a vehicle as plain values and pure steps: no screen, no port, no file. Faces show it, events drive it."""
